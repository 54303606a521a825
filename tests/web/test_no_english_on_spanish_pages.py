"""On a page in Spanish nothing is left in English but what people of the farm typed, and what labels say.

Each page is read in both languages. A text that is the same in both and has words in it must be a name that
somebody gave; and no text in Spanish may hold a word that only English has.
"""

import importlib.resources
import re
import tomllib
from functools import cache
from html.parser import HTMLParser

import pytest
from django.apps import apps
from django.urls import reverse

from orchard.farms import access
from orchard.farms.actors import SYSTEM
from orchard.farms.models import Membership
from orchard.tasks.services import finish, issue, loads, starting
from scheduling import bounds
from tests.factories import FarmFactory, amount
from tests.tasks.lowbell import CALM, draft
from tests.web import every_page
from tests.web.people import at_the_pages, member
from tests.web.plenty import one_more, plenty

pytestmark = pytest.mark.django_db
WORD = re.compile(r"[^\W\d_]{2,}")
ENGLISH = re.compile(
    r"\b(?:the|of|and|is|are|was|were|be|not|for|with|without|before|after|until|from|by|this|that|it|on|in|at|to|"
    r"or|an|any|all|have|must|may|days?|hours?|loads?|blocks?|spray|sprayer|label|order|worker|seen|said|open|"
    r"closed|done|wind|rain|leaf|leaves|copper|oil|peach|practice|source|product|start|finish|hold|held|stop)\b",
    re.I,
)
ON_TOOLS = re.compile(
    r"\b(?:oz wt|fl oz|tbsp|tsp|lb|gal|acre|mph|km/h|pt|qt|mL|kg|PDF|CSV|JSON|BBCH|EPA|w/w|v/v|100gal)\b|https?://\S+"
)
"""What stands on cups, scales and labels, and names of forms of files."""
TYPED = {
    "farms.Farm": ["name", "emergency"],
    "farms.Membership": ["name"],
    "farms.Person": ["name"],
    "blocks.Block": ["name"],
    "crews.Worker": ["name"],
    "crews.Crew": ["name"],
    "crews.Sprayer": ["name"],
    "crews.Qualification": ["number"],
    "inventory.Product": ["name"],
    "inventory.Lot": ["number"],
    "tasks.Programme": ["name"],
}
SHOWN = {"aria-label", "title", "alt", "placeholder"}
EMPTY = {"meta", "link", "input", "br", "hr", "img", "line", "path", "rect", "circle", "polygon", "use"}


class Read(HTMLParser):
    """What a page shows or reads aloud, and what its script may show."""

    def __init__(self, page):
        super().__init__()
        self.texts, self.within = [], []
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        told = dict(attributes)
        for name, text in attributes:
            words = told.get("id") == "words" and name.startswith("data-")
            if text and (words or name in SHOWN or (name == "value" and tag != "input" and tag != "option")):
                self.keep(text)
        if tag not in EMPTY:
            self.within.append("unseen" if tag in ("script", "style") else told.get("lang") or "")

    def handle_startendtag(self, tag, attributes):
        pass

    def handle_endtag(self, tag):
        if tag not in EMPTY:
            self.within.pop()

    def handle_data(self, text):
        if not {"unseen", "en"} & set(self.within[1:]):  # the language of the page stands on its first tag
            self.keep(text)

    def keep(self, text):
        if text.strip():
            self.texts.append(" ".join(text.split()))


def typed():
    """Return what people typed, what labels say and what publications are called, the longest first."""
    found = published() - {bounds.PRACTICE}
    for model, columns in TYPED.items():
        for column in columns:
            found |= {
                str(one) for one in apps.get_model(model)._base_manager.values_list(column, flat=True) if one
            }
    for label in apps.get_model("inventory.LabelVersion")._base_manager.values_list("label", flat=True):
        found |= {label["name"], label.get("registration") or ""}
        found |= {one["name"] for one in label.get("active_ingredients") or ()}
    return sorted((one for one in found if WORD.search(one)), key=len, reverse=True)


@cache
def published():
    """Return what the publications are called that rules and bounds rest on, and who published them."""
    rules = importlib.resources.files("mixing") / "rules"
    files = [one for one in rules.iterdir() if one.name.endswith(".toml")]
    tables = [tomllib.loads(one.read_text()).get("sources", {}) for one in (bounds.TABLE, *files)]
    rows = [row for table in tables for row in table.values()]
    return {row[name] for row in rows for name in ("title", "publisher") if row.get(name)}


def left_in_english(spanish, english, names):
    """Return the texts of a page in Spanish that are English."""
    found = []
    for text in spanish:
        rest = text
        for name in names:
            rest = rest.replace(name, "·")
        rest = ON_TOOLS.sub("·", rest)
        alike = text in english and len(WORD.findall(rest)) > 1
        if alike or ENGLISH.search(rest):
            found.append(text)
    return found


def order_in(status, farm):
    """Return an order that the reader may work on, in a state, after one of two loads."""
    at, by = farm.at, access.enter_as(farm.person, farm.at.farm.id)[1]
    order = draft(at, at.a1, total="8", sprayer=at.backpack)
    issue.issue(order=order, by=SYSTEM, now=at.now)
    issue.accept(order=order, by=by, now=at.now)
    if status != "accepted":
        starting.start(order=order, by=by, now=at.now, observed=CALM)
        one = {"number": 1, "spray": amount("4", "gal"), "products": [{"product": at.copper}]}
        loads.record_load(order=order, by=by, now=at.now, **one)
    if status == "held":
        issue.hold(order=order, by=by, now=at.now, reason="wind")
    if status == "done":
        much = {"product": at.copper, "lots": [{"lot": at.first_lot, "amount": amount("20", "oz_wt")}]}
        two = {"number": 2, "spray": amount("4", "gal"), "products": [much]}
        loads.record_load(order=order, by=by, now=at.now, **two)
        finish.finish(order=order, by=by, now=at.now, nothing_unusual=True)
    return order


@pytest.fixture
def farm():
    made = plenty()
    one_more(made)
    return made


def in_both(farm, ask):
    """Return what a page says in Spanish and in English."""
    told = []
    for language in ("es", "en"):
        Membership.objects.filter(person=farm.person).update(language=language)
        client = at_the_pages(Membership.objects.filter(person=farm.person).first())
        client.cookies["django_language"] = language
        told.append(Read(ask(client).content.decode()).texts)
    return told


@pytest.mark.parametrize("name", [one for one in every_page.PAGES if one != "docs"])
def test_a_page_with_plenty_of_everything_has_nothing_in_english(farm, name):
    path = every_page.address(name, farm=farm.at.farm, work=farm.work, draft=farm.draft, block=farm.block)

    spanish, english = in_both(farm, lambda client: client.get(path))

    assert len(spanish) > 3
    assert left_in_english(spanish, english, typed()) == []


@pytest.mark.parametrize("status", ["accepted", "under_way", "held", "done"])
def test_an_order_in_each_state_has_nothing_in_english(farm, status):
    order = order_in(status, farm)

    spanish, english = in_both(farm, lambda client: client.get(f"{base(farm)}/work/{order.id}"))

    assert left_in_english(spanish, english, typed()) == []


@pytest.mark.parametrize("page", ["season", "block", "today", "sent", "store", "filed"])
def test_what_a_load_above_the_plan_leaves_behind_is_not_in_english(farm, page):
    order = order_in("done", farm)
    path = reverse(page, args=[farm.at.farm.id, *([order.block.id] if page == "block" else [])])

    spanish, english = in_both(farm, lambda client: client.get(path))

    assert left_in_english(spanish, english, typed()) == []


MIX = {"block": "a2", "sprayer": "backpack", "products.0.product": "copper", "spray.total.unit": "gal"}
COPPER_IN_BLOOM = {"spray.total.value": "8", "stage.bbch:int": "65", "products.0.rate.value": "9"}
FORMS = {
    "a mix that is stopped": ("mix", {**MIX, **COPPER_IN_BLOOM, "products.0.rate.unit": "oz_wt/gal"}),
    "a mix with faults": ("mix", {**MIX, "spray.total.value": "8,5", "products.0.rate.value": "x"}),
    "a plan of no days": ("plan", {"programme": "programme", "from": "soon", "until": "2020-01-01"}),
    "a danger without a place": ("incident", {"kind": "spill"}),
}


@pytest.mark.parametrize("form", FORMS)
def test_what_a_form_leads_to_has_nothing_in_english(farm, form):
    page, told = FORMS[form]
    rows = {**vars(farm.at), "programme": apps.get_model("tasks.Programme").objects.first()}
    fields = {name: rows[one].id if one in rows else one for name, one in told.items()}

    spanish, english = in_both(farm, lambda client: client.post(f"{base(farm)}/{page}", fields))

    assert left_in_english(spanish, english, typed()) == []


@pytest.mark.parametrize(
    "page", ["today", "season", "plan", "mix", "store", "people", "filed", "first-steps"]
)
def test_an_empty_farm_has_nothing_in_english(page):
    farm = FarmFactory(name="Fin")
    owner = at_the_pages(member(farm, "owner", language="es"))

    told = Read(owner.get(reverse(page, args=[farm.id])).content.decode()).texts

    assert len(told) > 3 and left_in_english(told, (), typed()) == []


def base(farm):
    return f"/farms/{farm.at.farm.id}"
