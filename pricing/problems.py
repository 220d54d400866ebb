"""Problems: what is wrong with a cell the owner typed, and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import pandas as pd

Effect = Literal["row left out", "cell ignored", "please check"]


@dataclass(frozen=True)
class Problem:
    """One bad or doubtful cell.

    `row` is the row number a person sees in the file (the heading is row 1), None when the whole table is
    meant.
    """

    sheet: str
    row: int | None
    column: str
    value: str
    code: str
    message: str
    remedy: str
    effect: Effect


@dataclass(frozen=True)
class Code:
    """Message and remedy of one kind of problem; both may use {value} and the details given by the caller."""

    message: str
    remedy: str
    effect: Effect


LEFT_OUT: Effect = "row left out"
IGNORED: Effect = "cell ignored"
CHECK: Effect = "please check"

CODES: dict[str, Code] = {
    # headings and whole tables
    "near_heading": Code(
        "The heading '{value}' is not known and was kept out; it looks like '{near}'.",
        "Rename the heading to '{near}', or add a Settings row 'heading: {value}' with the column it means.",
        CHECK),
    "double_heading": Code(
        "The heading '{value}' means '{column}', which '{kept}' already gives; '{value}' was kept out.",
        "Rename or empty one of the two.", CHECK),
    "table_without_heading": Code(
        "The sheet '{sheet_name}' has no '{column}' heading (headings met: {met}); the table was not read.",
        "Put the headings in one row within the first ten rows; needed: {needed}.", IGNORED),
    "date_order_assumed": Code(
        "Nothing in the column '{column}' shows whether the day or the month comes first (first such date: "
        "'{value}'); read {order} first.",
        "If that is wrong, set 'date order' in Settings to '{other} first', or write months as words.",
        CHECK),
    # dates
    "date_missing": Code(
        "There is no date in '{column}'.", "Write the date, for example 2024-04-03.", LEFT_OUT),
    "date_unreadable": Code(
        "'{value}' is not a date.", "Write day, month and year, for example 2024-04-03.", LEFT_OUT),
    "date_in_future": Code(
        "The date {date} lies in the future.", "Correct the year or the order of day and month.", LEFT_OUT),
    "date_very_old": Code(
        "The date {date} is before 1990.", "Correct the year if it is a slip; the row is kept.", CHECK),
    "date_other_order": Code(
        "'{value}' can only be read {order} first, unlike the rest of the column; read as {date}.",
        "Write dates one way in the whole column, for example 2024-04-03.", CHECK),
    "date_without_day": Code(
        "'{value}' names no day; the first of the month was taken.", "Write the day if you know it.", CHECK),
    # types
    "type_missing": Code("There is no type in '{column}'.", "Write the type, for example EL84.", LEFT_OUT),
    "unknown_type": Code(
        "The register does not know the type '{value}'.",
        "Correct the spelling ({near}), or add the type to the Types sheet.", CHECK),
    "ambiguous_type": Code(
        "The type '{value}' can mean {near}; taken as {taken}.", "Write the one that is meant.", CHECK),
    "number_for_type": Code(
        "The cell holds the number {value}: a spreadsheet has turned a type into a number; it was likely "
        "{taken}.",
        "Format the column as text and type {taken} again.", CHECK),
    "date_for_type": Code(
        "The cell holds the date {value}: a spreadsheet has turned a type into a date; it was likely "
        "{taken}.",
        "Format the column as text and type the type again.", CHECK),
    # money
    "price_missing": Code(
        "There is no amount in '{column}'.", "Write what the buyer paid for the line.", LEFT_OUT),
    "price_unreadable": Code(
        "'{value}' is not an amount of money.", "Write one amount, for example 45.00.", LEFT_OUT),
    "price_not_positive": Code(
        "The amount {value} is not above zero.",
        "Write the price that was paid; enter a return as 'returned_on' on the sale's own row.", LEFT_OUT),
    "amount_unreadable": Code(
        "'{value}' is not an amount of money.", "Write one amount, for example 4.50.", IGNORED),
    "amount_negative": Code(
        "The amount {value} is below zero; it was read as {taken}.", "Write costs and fees without a minus.",
        CHECK),
    "money_doubtful": Code(
        "'{value}' was read as {taken}, with doubt.", "Write the amount plainly, for example 1250.00.",
        CHECK),
    "price_each": Code(
        "'{value}' is a price each; with {count} pieces the line comes to {taken}.",
        "Write the price of the whole line.", CHECK),
    "price_per_set": Code(
        "'{value}' is a price per set of {size}; set_size was read as {size}, the line as {taken}.",
        "Write {size} in set_size and the price of the whole line.", CHECK),
    "currency_conflict": Code(
        "'{value}' carries the sign of {sign}, the currency column says {stated}; {sign} was taken.",
        "Correct one of the two.", CHECK),
    "foreign_sign": Code(
        "'{value}' carries the sign of {sign}; the number was taken as {home}, without conversion.",
        "Write costs and fees in the shop's currency.", CHECK),
    "no_rate": Code(
        "There is no exchange rate for '{currency}', so the row cannot be priced.",
        "Add a Settings row 'rate: {currency} {month}' with the {home} paid for one {currency}.", LEFT_OUT),
    "rate_of_other_month": Code(
        "There is no rate for {currency} in {month}; the rate of {used} was used for {count} rows.",
        "Add a Settings row 'rate: {currency} {month}'.", CHECK),
    # counts, percentages, yes and no
    "count_unreadable": Code(
        "'{value}' is not a count of pieces; 1 was used.", "Write a whole number.", IGNORED),
    "count_part_set": Code(
        "'{value}' is not a whole number of sets; read as {count} single pieces.",
        "Put the whole sets and the odd piece on lines of their own.", CHECK),
    "count_conflict": Code(
        "The words '{value}' say {said}, the columns say {stated}; the columns were taken.",
        "Correct set_size and qty, or the words.", CHECK),
    "sets_from_words": Code(
        "'{value}' was read as {said}.", "Write set_size and qty in columns of their own.", CHECK),
    "percent_unreadable": Code(
        "'{value}' is not a percentage of nominal between 5 and 250.",
        "Write a percentage such as 95; a meter reading needs its nominal value in Settings.", IGNORED),
    "percent_doubtful": Code(
        "'{value}' was read as {taken} %, with doubt.", "Write a percentage such as 95.", CHECK),
    "number_unreadable": Code("'{value}' is not a number.", "Write a plain number.", IGNORED),
    "required_number": Code(
        "'{value}' is not a number, and '{column}' is needed.", "Write a plain number.", LEFT_OUT),
    "required_missing": Code("'{column}' is blank, and it is needed.", "Fill in the cell.", LEFT_OUT),
    "flag_unreadable": Code("'{value}' is neither yes nor no; taken as no.", "Write yes or no.", IGNORED),
    # meter readings
    "test_missing": Code(
        "The row names no test, so its reading says nothing.",
        "Write gm, emission, plate current, gas, leakage or noise.", IGNORED),
    "unknown_test": Code(
        "'{value}' is no test that is known; the reading is kept and not used.",
        "Write gm, emission, plate current, gas, leakage or noise.", IGNORED),
    "reading_not_positive": Code(
        "The {test} reading {value} is not above zero, so it has no percent of nominal and is not used.",
        "Write what the meter showed; a dead piece is said by its grade.", IGNORED),
    "percent_in_value": Code(
        "'{value}' is a percentage already; it was taken as percent of nominal.",
        "Write what the meter showed and its nominal value, or the percentage with 100 in 'nominal'.", CHECK),
    "nominal_not_positive": Code(
        "The nominal {value} is not above zero.", "Write the nominal (bogey) value on this tester.", IGNORED),
    "nominal_missing": Code(
        "There is no nominal for {what} on {tester}, so {count} of its readings (this row first) have no percent of "
        "nominal.",
        "Write the nominal beside the reading, or once in Settings as 'nominal: {key}'.", IGNORED),
    "percent_out_of_range": Code(
        "The reading {value} is {percent} % of the nominal {nominal}, outside 5 to 250 %; it is not used.",
        "Correct the value or the nominal; where the value is a percentage already, write 100 in 'nominal'.", IGNORED),
    # lots, stock and readings side by side
    "paid_missing": Code("There is no amount in '{column}'.", "Write what the lot cost, 0 for a gift.", LEFT_OUT),
    "paid_negative": Code("The amount {value} is below zero.", "Write what the lot cost, 0 for a gift.", LEFT_OUT),
    "lot_twice": Code(
        "The lot '{value}' already stands in row {first}; only that row is used for costs.",
        "Give this lot a name of its own, or add its sums to row {first} and delete it.", CHECK),
    "lot_rejects": Code(
        "{value} rejects of {tubes} tubes is more than all; the lot's fallout is not used.", "Correct one of the two.",
        CHECK),
    "lot_count": Code("{value} is not a count of tubes.", "Write a whole number from 0.", CHECK),
    "lot_not_listed": Code(
        "The lot '{value}' is not in Lots ({count} rows, this one first), so what it cost is not known.",
        "Correct its name, or enter it in Lots with what was paid.", CHECK),
    "lot_overdrawn": Code(
        "Stock has {entered} tubes of this lot, more than the {passed} of {value} that passed.",
        "Correct 'tubes' or 'rejects' here, or 'lot', 'qty' and 'set_size' in Stock.", CHECK),
    "reading_without_piece": Code(
        "Stock has no piece '{value}', so its plate current cannot be matched.",
        "Correct the code, or enter the piece in Stock.", CHECK),
    "reading_of_many": Code(
        "'{value}' is a code of {count} tubes; its plate current says nothing of one of them, so it is not matched.",
        "Give every tube to be matched a code, and a Stock row, of its own.", CHECK),
    "test_volts_missing": Code(
        "Plate current without the volts of the test ({count} rows, this one first) is matched only with its like.",
        "Write the plate volts of the test.", CHECK),
    "sold_before_bought": Code(
        "The piece was acquired on {value} but sold on {sold}, so its time on the shelf is not right.",
        "Correct one of the two dates.", CHECK),
    # words
    "label_doubtful": Code(
        "'{value}' is doubtful; read as '{taken}'.", "Remove the question mark when you are sure.", CHECK),
    "grade_doubtful": Code(
        "The grade '{value}' is doubtful; read as '{taken}'.", "Write one of the grades of the list.", CHECK),
    "unknown_grade": Code(
        "The grade '{value}' is not known; taken as 'unknown'.",
        "Use a grade of the list, or add a Settings row 'grade: {value}' with the grade it means.", IGNORED),
    "era_doubtful": Code(
        "The era '{value}' was read as {taken}, with doubt.", "Write a decade, for example 1950s.", CHECK),
    "unknown_era": Code(
        "'{value}' is not a decade or year between 1930 and today; taken as 'unknown'.",
        "Write a decade such as 1950s, or add a Settings row 'era: {value}' with the decade it means.",
        IGNORED),
    "title_doubtful": Code(
        "The title '{value}' says '{words}', which is not sure; '{column}' was not taken from it.",
        "Fill in '{column}' if you know it.", CHECK),
    "title_disagrees": Code(
        "The title '{value}' says '{words}', the column '{column}' says '{stated}'; the column was taken.",
        "Correct '{column}', or leave it if the title is wrong.", CHECK),
    "repeated_row": Code(
        "This row repeats row {first} in every cell; both are kept.",
        "Delete one if it is the same sale entered twice.", CHECK),
    "ask_each": Code(
        "'{value}' is a price each; a set of {size} comes to {taken}.", "Write the price of one set.", CHECK),
    "row_blank": Code(
        "The row has nothing in the columns that are read.", "Fill it in or delete it.", LEFT_OUT),
    # rows to import
    "above_headings": Code(
        "The row stands above the headings (row {headings}) and was not read.",
        "If it is a row of the table, move it below the headings.", LEFT_OUT),
    "row_too_wide": Code(
        "The row has {cells} cells under {headings} headings, so they cannot be told apart.",
        "Put quotation marks around the cell that holds a '{mark}', or export with another mark between cells.",
        LEFT_OUT),
    "sheet_not_placed": Code(
        "It cannot be told which table the sheet '{value}' belongs to: {why}.",
        "Name the sheet after its table, or import it alone with --table.", LEFT_OUT),
    "sheet_left_alone": Code(
        "The sheet '{value}' ({count} rows) is not named after a table of rows to import, others are; it was not read.",
        "If it should be, name it after its table, or import it with --table.", IGNORED),
    "date_order_open": Code(
        "'{value}' can be read day first or month first, and nothing in the column '{heading}' tells which.",
        "Import again with --dates day-first or --dates month-first, or say it in Settings as 'date order'.", LEFT_OUT),
    "price_with_postage": Code(
        "'{value}' is '{goods}' and '{extra}' together; '{goods}' was taken for the price of the goods.",
        "Nothing, where that is right; else empty the heading that is not meant.", CHECK),
    "type_from_title": Code(
        "The register does not know the type '{value}'; the title names {taken}, which was taken.",
        "Correct the type, or add it to the Types sheet.", CHECK),
    "dates_turned": Code(
        "All {count} dates of the column '{heading}' that a spreadsheet took for dates fall on a day up to the 12th, "
        "and all it left as text do not (such as '{value}'): it has likely taken the day for the month and the other "
        "way round, so that {example} may be {other}.",
        "Look up one of these dates; if it is wrong, export the list as text and import that instead.", CHECK),
    "currency_assumed": Code(
        "Neither Settings nor the sales so far name the shop's currency; {value} was taken, which most rows here name.",
        "If that is wrong, write 'currency' in Settings and import again, before these rows are in.", CHECK),
    "rate_missing": Code(
        "Settings has no exchange rate for {value}; until it has one, rows in {value} ({count} here) are left out of "
        "prices.",
        "Add Settings rows such as 'rate: {value} {month}' with what one {value} cost.", CHECK),
    "no_column_for": Code(
        "The table {table} of the workbook has no column 'note' to keep '{value}' in; it was not taken over.",
        "Add the heading 'note' there before the import.", CHECK),
    "price_needs_column": Code(
        "The price means something else without '{column}' {value}, and the table {table} of the workbook has no such "
        "column.",
        "Add the heading '{column}' there and import again.", LEFT_OUT),
    "text_too_long": Code(
        "'{column}' has {length} characters, more than a cell holds.", "Shorten it.", LEFT_OUT),
    "code_taken": Code(
        "The code '{value}' is taken already, for {other}; this row says {says}.",
        "Change the row in Stock, or give this piece another code.", LEFT_OUT),
    "letters_guessed": Code(
        "The file does not say how its letters are stored; they were read as {value}, which gives '{example}'.",
        "If that word is wrong, save the file again as CSV UTF-8.", CHECK),
    "double_sheet": Code("The sheet '{value}' is {table} in other words, and '{kept}' was read for it.",
                         "Move its rows to '{kept}', or rename it.", IGNORED),
    # circuits
    "circuit_value_impossible": Code(
        "'{value}' cannot be a value of '{column}': wanted {wanted}.",
        "Correct the cell; until then what needs it cannot be checked.", IGNORED),
    "circuit_word_unknown": Code(
        "'{value}' means nothing in '{column}': wanted {wanted}.",
        "Write {wanted}; until then what needs it cannot be checked.", IGNORED),
    "circuit_cells_disagree": Code(
        "'{value}' in '{column}' disagrees with {against}; {used} is used, the larger of the two.",
        "Measure again and correct the wrong one.", CHECK),
    "circuit_without_type": Code(
        "The register does not know the type '{value}', so none of its ratings can be checked.",
        "Correct the spelling ({near}), or add the type to the Types sheet.", CHECK),
    "circuit_not_known": Code(
        "There is no circuit or position '{value}' on Circuits (there are: {known}).",
        "Write the circuit's name, or circuit and position with a comma between.", CHECK),
    # listening notes
    "score_out_of_range": Code(
        "The score {value} in '{column}' is outside the scale ({scale}{whence}); it is not used.",
        "Correct the score, or state the scale in Settings as 'quality scale: {column}', such as 1 to 10.", IGNORED),
    "note_without_score": Code(
        "The note has no score that can be used.", "Write a number for at least one of: {aspects}.", LEFT_OUT),
    "listening_without_aspects": Code(
        "No column of scores was found, or all of them weigh nothing.",
        "Head a column with the name of an aspect, write numbers in it (more is better), and give it a weight above "
        "nought in Settings.", IGNORED),
    "quality_weight_unused": Code(
        "Settings gives a weight to '{value}', but Listening has no such column of scores (it has {met}).",
        "Correct the name of the aspect, in Settings or over the column.", CHECK),
    "one_listener": Code(
        "All notes are by {value}: what this listener likes cannot be told from what sounds better to others.",
        "Let a second person hear some of the same tubes.", CHECK),
    "listening_unconnected": Code(
        "Contrasts cannot be estimated between {value}{others} and the other items: no listener and system joins them.",
        "Let one listener hear one of these and one of the others ({example}, say) in the same system.", CHECK),
    "listening_too_few": Code(
        "The notes are too few to rank anything: {notes} with a score, of {items} items{alike}.",
        "Note at least four scores of at least two tubes, by the same listener in the same system; ten of each tell "
        "much more.", CHECK),
    # settings
    "unknown_setting": Code(
        "There is no setting '{value}'{near}; the row was not used.",
        "Correct the key; the About sheet lists all.", IGNORED),
    "bad_setting": Code(
        "'{value}' does not fit the setting '{column}' ({wanted}); {default} is used.", "Write {wanted}.",
        IGNORED),
    # the owner's own types
    "type_without_name": Code("The row names no type.", "Write the designation, for example EL84.", LEFT_OUT),
    "type_name_unreadable": Code(
        "'{value}' is not a designation.", "Write the designation as text, for example EL84.", LEFT_OUT),
    "type_column_unknown": Code(
        "The column '{column}' is not a rating the register holds; '{value}' was not used.",
        "Use a column of the Types sheet, or move the text to 'note'.", IGNORED),
    "rating_unreadable": Code(
        "'{value}' is not a rating above nought in {unit}.",
        "Write one plain number in {unit}, or leave it blank.", IGNORED),
    "rating_system_unknown": Code(
        "'{value}' is not a rating system.", "Write one of: {systems}.", IGNORED),
    "alias_of_other_type": Code(
        "'{value}' already stands for {other}; it was not taken as a spelling of this row.",
        "Remove it, or add a row of its own for '{value}'.", IGNORED),
    # listings
    "listing_place": Code(
        "Line {line} of the template: '{value}' is no place of a listing; it stays as typed.",
        "{near} one of the places, in braces: {places}.", CHECK),
    "listing_brace": Code(
        "Line {line} of the template: the brace in '{value}' has no partner on its line; it stays as typed.",
        "Write a place as its name between two braces, such as {{grade}}.", CHECK),
    "piece_not_in_stock": Code(
        "Stock has no piece '{value}'.", "Correct the code{near}, or enter the piece in Stock.", CHECK),
}


def problem(code: str, *, sheet: str, row: int | None, column: str, value: Any, effect: Effect | None = None,
            **details: Any) -> Problem:
    """The Problem of kind `code` at one cell. KeyError when the code is not in CODES.

    `effect` overrides the effect of the kind: a bad date leaves out a sale, but only its own cell where dates
    are optional. Values longer than 120 characters are shortened in the words, never in the owner's file.
    """
    kind = CODES[code]
    shown = "" if value is None else str(value)
    if len(shown) > 120:
        shown = shown[:117] + "..."
    words = {"column": column, **details, "value": shown}
    return Problem(sheet, row, column, shown, code,
                   kind.message.format(**words), kind.remedy.format(**words), effect or kind.effect)


def counted(number: int, noun: str, plural: str = "") -> str:
    """A number with its noun: "1 sale", "1,200 sales"; `plural` where it does not end in s."""
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def problems_frame(problems: list[Problem]) -> pd.DataFrame:
    """One row a problem, columns as the fields of Problem."""
    import pandas as pd

    names = [field.name for field in fields(Problem)]
    return pd.DataFrame([[getattr(p, name) for name in names] for p in problems], columns=names)
