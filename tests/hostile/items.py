"""The hostile inputs that the bot must stand, each with what becomes of it and the tests that show it.

R: refused with a private hint. N: kept as it came and made harmless where it is shown. I: ignored and counted.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Item:
    """`tests` by `path::name`, under tests/ and without `test_` before the name."""

    what: str
    becomes: str
    tests: tuple[str, ...]


BLOCKS = "render/slack/test_blocks.py::"
FORGED = "wire/slack/test_forged_requests.py::"
HERE = "hostile/test_inputs.py::"
PROGRAM = "hostile/test_program.py::"
WORDS = "demo/test_hostile_texts.py::"
KEPT_OR_REFUSED = f"{WORDS}a_text_is_kept_as_it_is_or_refused_with_the_reason"
HARMLESS = f"{WORDS}hostile_words_go_through_a_whole_round_and_are_shown_harmlessly"
ALIVE = f"{BLOCKS}nothing_a_person_wrote_comes_alive_anywhere"
FED = "fuzz/test_readers.py::a_reader_takes_or_refuses_whatever_comes"
WHOLE = "fuzz/test_readers.py::the_whole_bot_answers_whatever_comes"
FLOOD = "engine/intake/test_flood.py::"
SERVER = "chat/room/test_server.py::"
SURFACE = "engine/round/test_round_by_its_surface.py::"

ITEMS: dict[int, Item] = {
    1: Item("calls of everybody in a note", "N: entities, nobody is called", (ALIVE, HARMLESS)),
    2: Item(
        "mentions, channels, groups, dates typed by a person",
        "N: shown as text",
        (
            ALIVE,
            f"{BLOCKS}a_person_is_alerted_only_where_that_is_meant",
            "chat/slack/test_inbound.py::text_is_read_as_the_person_saw_it",
        ),
    ),
    3: Item(
        "HTML, scripts, javascript: addresses",
        "N: text on the page (a Matrix surface is not there yet)",
        (
            "chat/room/test_browser.py::markup_in_words_names_and_files_stays_text",
            f"{SERVER}markup_goes_out_as_text_and_the_policy_forbids_scripts",
            "render/test_room.py::only_web_addresses_become_links",
        ),
    ),
    4: Item("signs of markup that break the layout", "N: escaped or plain", (ALIVE, HARMLESS)),
    5: Item(
        "a link in disguise",
        "N: in full, and never unfolded",
        (
            HARMLESS,
            f"{BLOCKS}only_web_addresses_become_links",
            "wire/slack/test_whole_round.py::a_round_from_the_command_to_the_commitment",
        ),
    ),
    6: Item(
        "line ends that imitate another section or author",
        "N: in a quote of its own",
        (f"{BLOCKS}lines_of_a_person_cannot_pass_for_ours", HARMLESS),
    ),
    7: Item("formulas in cells", "N: no table of cells is ever written", (f"{PROGRAM}no_table_of_cells_is_written",)),
    8: Item(
        "lines of a calendar in a title",
        "N: escaped and folded, no attendees",
        (
            "calendar/test_ics.py::no_text_can_add_a_line_of_its_own",
            "calendar/test_ics.py::lines_are_folded_and_restored",
            f"{PROGRAM}a_calendar_file_asks_nobody_in",
        ),
    ),
    9: Item(
        "markup in what is exported",
        "N: words stay words",
        ("engine/trial/test_privacy.py::peoples_words_in_the_markdown_digest_stay_words", HARMLESS),
    ),
    10: Item(
        "NUL",
        "R: taken for an unreadable sign at the door",
        (KEPT_OR_REFUSED, f"{HERE}what_no_database_can_hold_is_answered_and_changes_nothing"),
    ),
    11: Item(
        "half a character",
        "R: as NUL",
        (KEPT_OR_REFUSED, f"{HERE}what_no_database_can_hold_is_answered_and_changes_nothing", WHOLE),
    ),
    12: Item(
        "signs that turn or hide",
        "N: not shown; joiners stay",
        (f"{HERE}what_hides_or_turns_a_line_is_not_shown", HARMLESS),
    ),
    13: Item(
        "10,000 marks on a letter",
        "R above eight",
        ("domain/test_texts.py::a_pile_of_accents_is_refused", KEPT_OR_REFUSED),
    ),
    14: Item(
        "nothing visible",
        "R: empty; emoji alone are a text",
        (
            "domain/round/test_notes.py::a_text_that_cannot_be_kept_is_refused",
            "domain/round/test_notes.py::unusual_texts_are_kept",
        ),
    ),
    15: Item(
        "joined emoji, flags, tones at a cut",
        "whole or out, counted in the platform's unit",
        (
            f"{BLOCKS}a_cut_never_tears_what_is_one_character_to_the_reader",
            f"{HERE}a_cut_leaves_a_character_whole_or_out",
        ),
    ),
    16: Item(
        "40,000 characters, 500 lines",
        "R with the count, not echoed",
        (KEPT_OR_REFUSED, f"{HERE}five_hundred_lines_are_answered_in_a_sentence"),
    ),
    17: Item(
        "1,000 notes by one person",
        "R after 20 a lever; beyond 30 inputs a minute and process R, told once; a browser in a hurry waits its turn",
        (
            f"{HERE}a_thousand_notes_of_one_person_stop_at_twenty_a_lever",
            f"{FLOOD}what_comes_faster_than_anybody_means_it_is_not_taken_in",
            "wire/slack/test_flood.py::in_slack_a_flood_is_stopped_and_told_once",
            f"{SERVER}flood_from_one_browser_is_slowed_and_told",
        ),
    ),
    18: Item(
        "letters that grow when they are compared",
        "kept composed, counted after that",
        (
            "domain/test_texts.py::the_length_is_counted_after_composing",
            "domain/test_texts.py::a_text_is_kept_as_it_stands_or_refused",
            FED,
        ),
    ),
    19: Item(
        "names that look like others', or like the bot's",
        "ids decide",
        (
            f"{HERE}a_name_is_decoration",
            "engine/trial/test_first_week_actions.py::a_name_that_two_people_have_is_not_guessed",
            "chat/slack/test_inbound.py::echoes_and_foreign_matters_are_let_go",
        ),
    ),
    20: Item("a display name with mention, line end, 80 emoji", "N: cut to 40", (f"{HERE}a_name_is_decoration",)),
    21: Item(
        "numbers in disguise",
        "R: ASCII digits, one mark, a range for each",
        (
            f"{HERE}a_number_is_read_by_ascii_digits_and_one_mark",
            "engine/reading/test_number_lines.py::what_cannot_be_read_is_told_with_the_right_form",
        ),
    ),
    22: Item(
        "dates that are none, or over, or fall into a gap",
        "R with an example; asked back where two are meant",
        (
            "engine/reading/test_typed_dates.py::no_place_takes_a_date_that_is_unclear_or_over",
            FED,
            "domain/round/test_plans.py::a_page_that_is_not_right_is_refused",
        ),
    ),
    23: Item(
        "JSON without end, twice, or not a number",
        "400, or the line's own refusal",
        (
            f"{FORGED}signed_bodies_of_no_sense_are_answered_and_harmless",
            f"{SERVER}much_nonsense_and_huge_frames_end_the_line",
            f"{SERVER}nonsense_is_answered_and_changes_nothing",
        ),
    ),
    24: Item(
        "a forged signature", "401, no row, no word in the log", (f"{FORGED}two_hundred_forged_requests_are_refused",)
    ),
    25: Item(
        "a stamp too old, too new, or none",
        "401",
        (
            f"{FORGED}a_stamp_or_signature_of_no_form_is_refused_without_raising",
            f"{FORGED}two_hundred_forged_requests_are_refused",
        ),
    ),
    26: Item(
        "a signature beyond ASCII", "401", (f"{FORGED}a_stamp_or_signature_of_no_form_is_refused_without_raising", FED)
    ),
    27: Item(
        "ssl_check and challenge without a signature",
        "no effect, no answer",
        (
            f"{FORGED}two_hundred_forged_requests_are_refused",
            f"{FORGED}the_address_is_proven_only_by_a_signed_challenge",
        ),
    ),
    28: Item(
        "a request again, on another replica too",
        "I: its key is known",
        (
            f"{FORGED}a_replayed_delivery_is_one_happening",
            "wire/slack/test_two_processes.py::two_processes_share_a_round_and_one_is_killed_on_the_way",
        ),
    ),
    29: Item(
        "an envelope again after a new connection",
        "I: by its inner id",
        (
            f"{FORGED}a_replayed_delivery_is_one_happening",
            "wire/slack/test_people_reach_the_bot.py::three_copies_in_any_order_are_one",
        ),
    ),
    30: Item(
        "another workspace, enterprise or app",
        "R: nothing is changed",
        (
            f"{FORGED}presses_and_forms_of_strangers_change_nothing_and_are_answered",
            "engine/intake/test_other_workspaces.py::nothing_is_done_for_another_workspace",
            "chat/slack/test_inbound.py::another_workspace_app_or_organisation_is_refused",
        ),
    ),
    31: Item(
        "a guest of another organisation",
        "I, with a private word",
        (
            "chat/slack/test_inbound.py::another_organisation_is_refused_and_colleagues_of_the_own_one_are_not",
            f"{FORGED}presses_and_forms_of_strangers_change_nothing_and_are_answered",
        ),
    ),
    32: Item(
        "ids of another round, made up, too long",
        "nothing, and what is open is said",
        (
            "engine/test_presses.py::nothing_changes_that_is_not_open_and_every_press_is_answered",
            "chat/room/test_service.py::only_buttons_that_are_there_can_be_pressed",
            WHOLE,
        ),
    ),
    33: Item(
        "somebody else's decision",
        "R: roles are read in the same transaction",
        (
            f"{SURFACE}focus_is_the_decision_makers_and_duplicates_are_the_facilitators",
            f"{SURFACE}only_the_facilitator_closes_a_ballot_by_hand",
            "domain/round/test_commitment.py::only_facilitator_and_decision_maker_settle",
        ),
    ),
    34: Item(
        "a decision-maker who was replaced",
        "R: who holds it now",
        ("engine/round/test_roles_change_hands.py::a_decision_maker_passes_the_role_on_and_the_other_decides",),
    ),
    35: Item(
        "votes of strangers, bots, people who left",
        "I",
        (
            "domain/round/test_ballots.py::votes_come_from_members_on_options",
            "domain/round/test_ballots.py::the_reading_takes_only_members_and_options",
            "chat/room/test_service.py::strangers_and_the_departed_cannot_vote",
        ),
    ),
    36: Item(
        "votes over the quota, 50 at once",
        "R, under the lock",
        (
            f"{HERE}fifty_presses_at_once_cast_no_vote_too_many",
            "store/test_both_databases.py::the_quota_is_kept_by_the_database_itself",
            "domain/round/test_ballots.py::a_vote_over_the_quota_does_not_count_and_says_so_at_once",
        ),
    ),
    37: Item(
        "votes for one's own plan, for what is merged or gone",
        "own ones count and are told as a total; options stand fast",
        (
            "domain/round/test_ballots.py::votes_come_from_members_on_options",
            "domain/round/test_ballots.py::there_is_no_voting_outside_the_ballots",
        ),
    ),
    38: Item(
        "wrong, toned, custom emoji; another message",
        "one name for each, else I",
        (
            "message/test_emoji.py::an_emoji_is_kept_without_tone_and_colour",
            "message/test_emoji.py::a_custom_emoji_keeps_its_name",
            "chat/room/test_service.py::reaction_takes_one_emoji_only",
            FED,
        ),
    ),
    39: Item(
        "an emoji on an old ballot",
        "I, and its giver is told",
        ("engine/intake/test_acts_out_of_place.py::a_reaction_on_an_old_ballot_is_answered_and_counts_nowhere",),
    ),
    40: Item(
        "an emoji put and taken 100 times",
        "the last state counts",
        (f"{HERE}of_an_emoji_put_and_taken_a_hundred_times_the_last_state_counts",),
    ),
    41: Item(
        "a removal before its addition",
        "the close reads the platform",
        (
            "wire/slack/test_people_reach_the_bot.py::three_copies_in_any_order_are_one",
            f"{SURFACE}what_the_bot_missed_is_read_back_at_the_close",
        ),
    ),
    42: Item(
        "a form of an earlier step, sent twice, two days old",
        "R with its texts handed back",
        (
            "engine/intake/test_what_is_over.py::a_form_of_a_step_that_is_over_comes_back_field_by_field",
            "engine/intake/test_nothing_typed_is_lost.py::a_plan_that_comes_after_the_close_is_handed_back_whole",
            "chat/room/test_at_rest.py::a_form_that_is_open_can_still_be_sent_and_holds_nothing_any_more",
        ),
    ),
    43: Item(
        "a line changed or deleted",
        "followed until the reveal, then it changes nothing",
        (
            f"{SURFACE}an_edited_message_edits_its_note_and_an_erased_one_withdraws_it",
            f"{SURFACE}the_reveal_erases_who_wrote_what",
        ),
    ),
    44: Item(
        "a bot's message that somebody deleted",
        "posted again once",
        (
            "wire/slack/test_second_ways.py::a_message_that_can_no_longer_be_edited_is_posted_anew",
            "engine/delivery/test_second_ways.py::what_is_posted_anew_goes_out_once",
        ),
    ),
    45: Item(
        "a private note in the channel",
        "not taken; asked in private, never quoted",
        ("engine/intake/test_misplaced_notes.py::a_note_that_calls_the_bot_in_the_channel_is_offered_a_way",),
    ),
    46: Item(
        "a command in the other place",
        "answered in private",
        (
            "wire/slack/test_people_reach_the_bot.py::a_private_word_reaches_only_who_asked",
            "engine/intake/test_typed_words.py::the_command_and_the_mention_take_words",
        ),
    ),
    47: Item(
        "SQL, wild cards",
        "letters like others",
        ("engine/register/test_register.py::words_are_found_by_stem_and_part_and_signs_are_taken_as_they_stand",),
    ),
    48: Item(
        "names of filters",
        "from a list",
        ("engine/register/test_register.py::filters_by_lever_verdict_date_and_owner",),
    ),
    49: Item(
        "patterns that go back and forth",
        "none of people's, ours in no more time than a text's length asks for",
        (f"{PROGRAM}no_pattern_of_ours_takes_long",),
    ),
    50: Item(
        "names of files",
        "made by us, safe everywhere",
        (
            "render/test_artefacts.py::file_names_are_safe_everywhere",
            f"{SERVER}file_names_cannot_break_out_of_the_header",
        ),
    ),
    51: Item(
        "giant, packed, foreign files",
        "R by size, rows, columns, encoding",
        (
            f"{PROGRAM}a_file_that_is_all_columns_or_rows_is_refused_at_once",
            FED,
            "wire/slack/test_people_reach_the_bot.py::a_dropped_text_file_is_read_and_others_say_why_not",
        ),
    ),
    52: Item(
        "addresses of machines inside",
        "never fetched",
        (
            f"{PROGRAM}the_bot_asks_nobody_but_its_own_services",
            "chat/room/test_browser.py::nothing_leaves_this_machine",
        ),
    ),
    53: Item(
        "things that run when they are read", "none is read so", (f"{PROGRAM}nothing_stored_or_sent_is_ever_run",)
    ),
    54: Item(
        "placeholders",
        "no text of a person is a template",
        (f"{PROGRAM}no_text_of_a_person_is_taken_for_a_template", KEPT_OR_REFUSED, HARMLESS),
    ),
    55: Item("lines of a log", "escaped", (f"{PROGRAM}a_line_of_the_log_stays_one_line",)),
    56: Item(
        "private text in an exception",
        "told by its kind and place",
        (
            "house/test_logs.py::a_library_s_error_is_told_without_its_words",
            f"{HERE}logs_at_debug_hold_no_private_word_and_nobody_beside_one",
            "engine/delivery/test_fault_walls.py::an_exception_that_nobody_knows_holds_up_one_conversation",
        ),
    ),
    57: Item(
        "logging at its loudest",
        "no words, nobody beside a private act",
        (
            f"{HERE}logs_at_debug_hold_no_private_word_and_nobody_beside_one",
            "house/test_logs.py::the_level_holds_back_what_lies_below",
        ),
    ),
    58: Item(
        "secrets in what is shown",
        "never",
        (
            "wire/slack/test_bot_reaches_people.py::secrets_do_not_show_in_the_options",
            "wire/slack/test_commands.py::the_doctor_names_what_is_wrong_and_what_to_do",
            FED,
        ),
    ),
    59: Item(
        "a text in a key's violation",
        "no key holds a text of a person",
        (f"{PROGRAM}no_text_of_a_person_stands_in_a_unique_index",),
    ),
    60: Item(
        "counts that tell who voted",
        "what others read before does not depend on what one gave",
        (
            "domain/round/test_counter.py::batches_are_told_at_quarter_hours",
            "demo/test_secrecy.py::what_others_read_before_does_not_depend_on_what_one_gave",
        ),
    ),
    61: Item(
        "too few for a secret",
        "said beforehand; ranks instead of columns",
        (
            "speech/round/test_private_cards.py::a_ballot_promises_no_more_secrecy_than_it_keeps",
            "engine/trial/test_privacy.py::what_fewer_than_three_said_is_not_shown_as_if_it_were_unsigned",
        ),
    ),
    62: Item("words to a language model", "words like others: there is none", (WHOLE, HARMLESS)),
    63: Item(
        "a platform's own error",
        "our words; no trace",
        (
            "wire/slack/test_people_reach_the_bot.py::a_press_that_could_not_be_taken_in_is_told_and_a_form_keeps_its_words",
            f"{SERVER}act_that_the_bot_cannot_take_is_said_to_be_kept",
        ),
    ),
    64: Item(
        "many rounds, many browsers, many requests",
        "20 rounds open, 12 pages a person, turns",
        (
            f"{HERE}so_many_rounds_are_open_at_once_and_no_more",
            f"{SERVER}too_many_browsers_of_one_person_are_refused",
            f"{SERVER}flood_from_one_browser_is_slowed_and_told",
        ),
    ),
    65: Item(
        "numbers beyond 64 bits as ids",
        "R before the database",
        (f"{SERVER}nonsense_is_answered_and_changes_nothing", FED),
    ),
    66: Item(
        "a text that equals a command",
        "commands come from people's own words alone",
        (
            "engine/intake/test_typed_words.py::a_sentence_is_never_taken_for_a_command",
            "chat/slack/test_inbound.py::echoes_and_foreign_matters_are_let_go",
        ),
    ),
}
