"""Every write to the store, by subject. Other apps call the names below; the rest is the store's own."""

from orchard.inventory.services.deductions import Deduction, Used, hold, put_back, use
from orchard.inventory.services.labels import add_label, approve_label, withdraw_label
from orchard.inventory.services.ledger import StockShort
from orchard.inventory.services.lots import add_lot, change_lot, hold_lots
from orchard.inventory.services.movements import move
from orchard.inventory.services.products import add_product, change_product
from orchard.inventory.services.reservations import Need, release, reserve

__all__ = [
    "Deduction",
    "Need",
    "StockShort",
    "Used",
    "add_label",
    "add_lot",
    "add_product",
    "approve_label",
    "change_lot",
    "change_product",
    "hold",
    "hold_lots",
    "move",
    "put_back",
    "release",
    "reserve",
    "use",
    "withdraw_label",
]
