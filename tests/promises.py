"""What the service promises, by number, and what shows it: tests of the suite, or a command with the figure.

The suite shows each promise at a size that it can bear; a command shows it at the size that is promised.
`tests/test_promises.py` fails where a promise has nothing to show it, or names what is no longer there.
"""

from __future__ import annotations

from dataclasses import dataclass

FIRST_TO_LAST = (*range(5, 9), *range(10, 26))


@dataclass(frozen=True, slots=True)
class Promise:
    """One promise.

    :ivar says: what holds, with its figure
    :ivar tests: pytest node ids below `tests/`
    :ivar commands: what shows it at its full size, as typed at the top of a checkout
    :ivar left: what of it is not reached, or is not shown yet
    """

    says: str
    tests: tuple[str, ...]
    commands: tuple[str, ...] = ()
    left: str = ""


PROMISES: dict[int, Promise] = {
    5: Promise(
        "a write whose answer was lost has one effect when it is sent again with its key: all of 200",
        (
            "api/test_cut_off.py::test_cut_off_calls_leave_one_effect_or_none_and_never_a_half",
            "api/test_cut_off.py::test_who_leaves_while_the_answer_is_sent_finds_it_done_once_and_holds_nothing",
        ),
        ("PROMISE_ROUNDS=200 python -m pytest tests/api/test_cut_off.py -n 0",),
    ),
    6: Promise(
        "one Idempotency-Key, one effect: of 8 at once, 200 times; another body is 422; kept for 7 days",
        (
            "api/test_cut_off.py::test_of_many_at_once_one_is_done_with_one_key_and_one_edit_wins",
            "farms/test_members_and_tokens.py::test_the_same_key_gives_the_first_answer_again",
            "farms/test_members_and_tokens.py::"
            "test_a_key_is_kept_for_seven_days_and_belongs_to_one_sender_and_one_address",
            "stories/test_integration_partner.py::test_T3_of_eight_that_send_the_same_at_once_one_makes_it",
        ),
        ("PROMISE_ROUNDS=200 python -m pytest tests/api/test_cut_off.py -n 0",),
    ),
    7: Promise(
        "no edit is lost: without If-Match 428, stale 412, and of two editors one wins, 500 times",
        (
            "api/test_cut_off.py::test_of_many_at_once_one_is_done_with_one_key_and_one_edit_wins",
            "api/test_strangers.py::"
            "test_nothing_is_changed_by_whoever_has_not_read_it_or_has_read_what_is_old",
            "farms/test_members_and_tokens.py::test_a_change_needs_the_version_that_was_read",
        ),
        ("PROMISE_ROUNDS=500 python -m pytest tests/api/test_cut_off.py -n 0",),
    ),
    8: Promise(
        "whatever is refused is a problem document with a type that stays, and a code and a pointer for each"
        " fault; so is what the web server refuses by itself",
        (
            "api/test_problems.py::test_the_type_of_a_problem_leads_to_what_its_code_means",
            "api/test_problems.py::test_every_code_that_is_ever_told_is_explained_in_both_languages",
            "api/test_cut_off.py::test_what_the_web_server_refuses_by_itself_is_a_problem_document_too",
            "stories/test_integration_partner.py::"
            "test_T6_every_refusal_is_a_problem_document_with_code_and_pointer_and_nothing_of_the_inside",
            "farms/test_members_and_tokens.py::test_rubbish_gets_a_problem_and_never_a_row",
        ),
        ("python -m tests.fuzz --examples 50",),
    ),
    10: Promise(
        "the change feed misses and repeats nothing and keeps the order: 10 writers that commit up to 50 ms"
        " late, 10,000 changes, 3 readers; what is deleted is told",
        (
            "farms/test_changes.py::test_three_readers_miss_nothing_of_ten_writers_who_commit_late",
            "farms/test_changes.py::test_a_change_that_commits_late_is_not_lost",
            "stories/test_integration_partner.py::test_T4_what_is_deleted_stays_in_the_feed_as_deleted",
        ),
        ("python -m tests.faults feed --changes 10000 --writers 10 --readers 3",),
        left="cursors never expire, so none is answered with 410",
    ),
    11: Promise(
        "pages followed over 10,000 rows while 100 a second are added skip and double none; 500 a page at"
        " most",
        (
            "farms/test_members_and_tokens.py::test_pages_follow_each_other_without_gaps",
            "farms/test_changes.py::test_no_order_is_skipped_or_doubled_while_others_are_put_in",
            "stories/test_integration_partner.py::test_T12_limits_are_told_kept_and_are_each_callers_own",
        ),
        ("python -m tests.faults paging --rows 10000 --a-second 100",),
    ),
    12: Promise(
        "what belongs to another farm is not there, in every operation; the answer is that of what never was",
        (
            "api/test_strangers.py::test_no_id_of_another_farm_opens_finds_or_joins_anything",
            "farms/test_members_and_tokens.py::test_a_cursor_of_another_farm_is_not_there",
            "api/test_every_route.py::test_nobody_passes_without_a_token_and_no_stranger_learns_of_the_farm",
            "farms/test_members_and_tokens.py::test_a_stranger_cannot_tell_another_farm_from_none",
            "farms/test_fence.py::test_every_table_with_a_farm_has_its_fence_but_those_that_find_the_farm",
        ),
    ),
    13: Promise(
        "a role may do what the one table says and no more: every route, every role, every scope",
        (
            "api/test_every_route.py::test_every_route_of_a_farm_stands_in_the_permission_table",
            "api/test_every_route.py::test_a_role_may_do_what_the_table_says_and_no_more",
            "api/test_every_route.py::test_an_integration_may_do_what_its_scope_says_and_no_more",
        ),
    ),
    14: Promise(
        "a body sets nothing that is not asked for: a field that is only read is refused, nothing changes",
        (
            "api/test_strangers.py::test_no_field_that_is_only_read_can_be_set",
            "farms/test_members_and_tokens.py::test_rubbish_gets_a_problem_and_never_a_row",
        ),
    ),
    15: Promise(
        "no webhook reaches a private address, however it is written, resolved or redirected to",
        (
            "farms/test_webhooks.py::test_a_webhook_cannot_point_into_ones_own_network",
            "farms/test_webhooks.py::test_a_name_that_turns_to_a_private_address_is_not_sent_to",
            "farms/test_webhooks.py::test_it_goes_over_tls_to_the_address_that_was_judged",
        ),
    ),
    16: Promise(
        "webhooks are signed so that the reference verifier takes each and no changed one; two signatures"
        " while a secret is rotated; the same id at each try; tried for 72 h, 410 ends it",
        (
            "farms/test_webhooks.py::test_an_event_is_signed_as_the_open_specification_says",
            "farms/test_webhooks.py::"
            "test_no_bit_of_what_was_signed_can_be_changed_and_it_is_taken_for_five_minutes",
            "farms/test_webhooks.py::test_each_try_has_the_same_id_and_a_time_of_its_own",
            "farms/test_webhooks.py::test_for_a_day_the_old_secret_signs_beside_the_new_one",
            "farms/test_webhooks.py::"
            "test_a_receiver_that_is_down_for_three_days_is_paused_and_one_that_comes_back_is_not",
            "farms/test_webhooks.py::test_a_receiver_that_is_gone_is_not_asked_again",
            "farms/test_webhooks.py::test_a_delivery_is_sent_again_by_hand_under_its_old_id",
        ),
    ),
    17: Promise(
        "a body holds 1 MiB and 32 levels, a page 500, a bulk call 1,000; 429 says when to come again; who"
        " sends 50 times too much makes nobody else wait twice as long",
        (
            "farms/test_members_and_tokens.py::test_rubbish_gets_a_problem_and_never_a_row",
            "farms/test_members_and_tokens.py::test_thirty_two_levels_are_read",
            "farms/test_bulk_calls.py::test_more_than_a_thousand_are_refused_whole",
            "api/test_rates.py::test_who_sends_too_many_has_to_wait",
            "api/test_rates.py::test_who_has_used_up_the_minute_is_refused_at_the_door_until_the_next_begins",
            "api/test_counts.py::test_two_web_processes_count_together_and_each_alone_while_redis_is_gone",
        ),
        ("python -m tests.faults crowd",),
    ),
    18: Promise(
        "what is revoked opens nothing from the next request on",
        (
            "api/test_every_route.py::test_a_dead_token_opens_nothing",
            "stories/test_integration_partner.py::"
            "test_T2_keys_overlap_while_they_are_changed_and_a_revoked_one_fails_at_once",
        ),
    ),
    19: Promise(
        "what a phone kept without a signal is there once, however often and in what order it is sent: 500 at"
        " once with an answer each; what contradicts is kept beside",
        (
            "farms/test_bulk_calls.py::test_all_that_waited_are_each_there_once_however_often_they_are_sent",
            "farms/test_bulk_calls.py::test_what_is_refused_stops_nothing_else",
            "farms/test_bulk_calls.py::"
            "test_a_phone_whose_clock_is_two_days_off_tells_each_thing_once_or_is_asked_for_the_time",
            "tasks/test_late_word.py::test_two_loads_of_one_number_are_both_kept_for_a_person_to_compare",
            "tasks/test_late_word.py::test_a_load_mixed_before_a_hold_is_taken_though_the_hold_came_first",
            "tasks/test_at_the_same_moment.py::test_two_finishes_at_once_are_one_record_and_one_claim",
        ),
        ("PROMISE_ROUNDS=500 python -m pytest tests/farms/test_bulk_calls.py -n 0",),
        left="what is told of more than 5 minutes ahead is refused (`time_in_future`), as the resources say,"
        " so a clock may be late and not early; how far it is off is not kept as a figure of its own",
    ),
    20: Promise(
        "ids that phones make are unique within a farm and tell nothing of another",
        (
            "farms/test_members_and_tokens.py::test_an_id_that_a_phone_made_is_kept_and_taken_once",
            "farms/test_members_and_tokens.py::test_the_same_id_on_two_farms_tells_neither_of_the_other",
        ),
    ),
    21: Promise(
        "a line of a ledger or an entry of the audit that is changed, put in, taken out or moved is found,"
        " with its place: each of 10,000; 100,000 entries are followed in a second",
        (
            "farms/test_audit_chain.py::test_each_of_ten_thousand_is_found_wherever_it_stands",
            "farms/test_audit_chain.py::test_what_the_owner_of_the_tables_changes_is_found_with_its_place",
            "farms/test_audit_chain.py::"
            "test_an_end_that_was_cut_off_or_written_anew_is_found_by_the_heads_that_were_kept",
            "inventory/test_chain.py::test_what_the_owner_of_the_tables_changes_is_found_with_its_first_line",
            "inventory/test_chain.py::test_a_chain_made_anew_is_found_by_the_heads_that_were_kept_elsewhere",
            "farms/test_audit.py::test_the_database_itself_refuses_to_change_it",
        ),
        ("PROMISE_ROUNDS=500 python -m pytest tests/farms/test_audit_chain.py -n 0 -s -k ten_thousand",),
    ),
    22: Promise(
        "a backup is put back on an empty server with every row and every ledger as it was; a million lines"
        " of the ledger, made while others write: 30 s to write, 60 s to put back",
        ("config/test_backup.py::test_a_backup_is_put_back_row_by_row_with_guards_and_ledgers",),
        ("python -m tests.faults backup --movements 1000000",),
    ),
    23: Promise(
        "an upgrade keeps nobody waiting: a change of a table waits 2 s at most and lets others pass, and no"
        " migration reads or writes a whole table under its lock",
        (
            "config/test_migrations.py::"
            "test_a_change_that_has_to_wait_lets_others_pass_and_is_made_when_it_can_be",
            "config/test_migrations.py::test_no_migration_keeps_others_from_a_table_in_use",
            "config/test_preparation.py::test_two_that_prepare_a_missing_database_at_once_both_succeed",
        ),
        ("python -m tests.faults migrate --movements 1000000",),
        left="that the release before runs on the new tables is a rule for migrations, not a run of it",
    ),
    24: Promise(
        "as it is installed it bears 8 writers of 100 posts to one lot at once, without an error, 99 of 100"
        " within a second",
        (
            "api/test_cut_off.py::"
            "test_eight_who_post_to_one_lot_at_once_wait_less_than_a_second_and_none_fails",
        ),
        (
            "PROMISE_ROUNDS=100 python -m pytest tests/api/test_cut_off.py -n 0 -s -k eight",
            "python -m tests.bench ledger",
        ),
    ),
    25: Promise(
        "calendars are read by two readers that did not write them; what is called off stays, cancelled,"
        " with a higher sequence; the address can be taken back",
        (
            "tasks/test_calendar_by_hand.py::"
            "test_a_strict_reader_takes_every_line_and_the_days_on_which_clocks_change",
            "tasks/test_calendar_feeds.py::"
            "test_what_changes_in_the_calendar_has_a_higher_sequence_and_what_is_called_off_stays",
            "tasks/test_calendar_feeds.py::"
            "test_an_address_is_shown_once_kept_as_a_hash_and_worthless_once_revoked",
        ),
    ),
}
