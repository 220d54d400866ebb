"""Wrong input as an owner makes it: formulas on the example workbook, and what their cells must say.

M is the model cell, S its sales, I its items, G its settings. Ranges R1, R2 ... are written to a sheet of their own
from RANGES; a cell that begins with "=" is a formula (such as one that shows an error). Expected is a part of the text;
what mends it must follow, which the test sees to. CALC_ITSELF are those that LibreOffice answers without asking the
add-in.
"""

RANGES = {
    "R1": [[None, None], [None, None]],  # nothing at all
    "R2": [["type", "maker", "grade"]],  # headings only
    "R3": [["tube kind?", "who"], ["EL84", "Tivenshaw"]],  # no heading that is known
    "R4": [["type", "grade"], ["EL84", "=NA()"], ["EL34", None]],
    "R5": [["type", "grade"], ["=1/0", "used"], ["=1/0", None]],
    "R6": [["sold_on", "type"], [45000, "EL84"]],  # sales without a price
    "R7": [["type", "price"], ["EL84", 20]],  # sales without a date
    "R8": [["sold_on", "price"], [45000, 20]],  # sales without a type
    "R9": [["sold_on", "type", "price"], ["soon", "EL84", 20], [45000, "EL84", "ask me"], [45000, None, 20]],
    "R10": [["sold_on", "type", "price"], [45000, "EL84", "=NA()"], [45001, "EL84", 20]],
    "R11": [["sold_on", "type", "price"]],
    "R12": [["type", "maker", "grade"], ["EL48", None, None], ["EL84", None, "minty"], ["EL84", None, None]],
    "R13": [["type", "reading_pct", "set_size", "era"], ["EL84", "lots", 1, None], ["EL84", 90, "some", None],
            ["EL84", 90, 1, "long ago"]],
    "R14": [["key", "value"], ["currency", "money"]],
    "R15": [["key", "value"], ["curency", "EUR"]],
    "R16": [["key", "value"], ["price endings", "=NA()"]],
    "R17": [["key"], ["currency"]],
    "R18": [["key", "value"], ["fee", "a lot"]],
    "R19": [["key", "value"], ["manual fitting", "yes"]],
    "R20": [["type", "set_size"], *[["EL84", 1] for _ in range(51)]],
    "R21": [["type"], [None], [None], ["EL84"]],
    "R22": [["sold_on", "type", "price"], [45000, "EL84", -20], [45001, "EL84", 0]],
    "R23": [["sold_on", "type", "price"], [60000, "EL84", 20]],  # in the future
    "R24": [["sku", "type", "cost", "ask"], ["A1", "EL84", "cheap", 30], ["A2", "EL84", 5, "make an offer"]],
    "R25": [["type", "grade", "note"], ["EL84", "used", "=NA()"]],  # an error where nothing is read
    "R27": [["fitted_type", "plate_v"], ["EL84", 250], ["EL84", 260]],
    "R28": [["circuit", "fitted_type", "plate_v"], ["amp", "EL84", "hot"]],
    "R26": [["=NA()", "maker"], ["EL84", "Tivenshaw"]],  # an error for a heading
}

CASES = [
    # model
    ("TUBE.MODEL(R1)", "'sales' is empty"),
    ("TUBE.MODEL(R3)", "no heading 'sold_on' or 'type' or 'price'"),
    ("TUBE.MODEL(R6)", "no heading 'price' (met: sold_on, type)"),
    ("TUBE.MODEL(R7)", "no heading 'sold_on'"),
    ("TUBE.MODEL(R8)", "no heading 'type'"),
    ("TUBE.MODEL(R9)", "none of the 3 sales can be used"),
    ("TUBE.MODEL(R10)", "row 2, column price holds the error #N/A"),
    ("TUBE.MODEL(R11)", "headings and no row below"),
    ("TUBE.MODEL(R22)", "none of the 2 sales can be used"),
    ("TUBE.MODEL(R23)", "none of the 1 sales can be used"),
    ("TUBE.MODEL(I)", "no heading 'sold_on' or 'price'"),
    ("TUBE.MODEL(S;R14)", "'money' does not fit the setting 'currency'"),
    ("TUBE.MODEL(S;R15)", "no setting 'curency' (near: 'currency')"),
    ("TUBE.MODEL(S;R17)", "two columns"),
    ("TUBE.MODEL(S;R18)", "'a lot' does not fit the setting 'fee'"),
    ("TUBE.MODEL(S;5)", "two columns"),
    ('TUBE.MODEL(S;"EUR")', "two columns"),
    ("TUBE.MODEL(R21;R19)", "no heading 'sold_on' or 'price'"),
    ("TUBE.MODEL($Sales.A1:I101;R19)", "manual fitting"),
    # one price
    ('TUBE.FAIR("";"EL84")', "'model' is blank"),
    ('TUBE.FAIR(;"EL84")', "'model' is blank"),
    ('TUBE.FAIR(5;"EL84")', "'model' is no model but the number 5"),
    ('TUBE.FAIR("my model";"EL84")', "'model' is no model but 'my model'"),
    ('TUBE.FAIR("6 sales to 2026-01-01, key 0123456789abcdef";"EL84")', "No model is known under this handle"),
    ('TUBE.FAIR("fitting 6 sales";"EL84")', "still being fitted"),
    ('TUBE.FAIR(S;"EL84")', "'model' takes one cell"),
    ('TUBE.FAIR(M;"")', "'tube' is blank"),
    ("TUBE.FAIR(M)", "'tube' is blank"),
    ('TUBE.FAIR(M;"EL48")', "The register does not know the type 'EL48'. Correct the spelling (EL86, EL84"),
    ('TUBE.FAIR(M;"what is this")', "does not know the type 'what is this'"),
    ("TUBE.FAIR(M;3.7)", "does not know the type '3.7'"),
    ("TUBE.FAIR(M;$Items.A2:A4)", "'tube' takes one cell"),
    ('TUBE.FAIR(M;"EL84";$Items.B2:B4)', "'maker' takes one cell"),
    ('TUBE.FAIR(M;"EL84";;"long ago")', "era: 'long ago' is not a decade"),
    ('TUBE.FAIR(M;"EL84";;1850)', "era: '1850' is not a decade"),
    ('TUBE.FAIR(M;"EL84";;;"minty")', "The grade 'minty' is not known. Use a grade of the list"),
    ('TUBE.FAIR(M;"EL84";;;42424242)', "grade"),
    ('TUBE.FAIR(M;"EL84";;;;"lots")', "reading: 'lots' is not a percentage"),
    ('TUBE.FAIR(M;"EL84";;;;999)', "reading: '999' is not a percentage"),
    ('TUBE.FAIR(M;"EL84";;;;-5)', "reading: '-5' is not a percentage"),
    ('TUBE.FAIR(M;"EL84";;;;;"some")', "set_size: 'some' is not a count"),
    ('TUBE.FAIR(M;"EL84";;;;;-2)', "set_size: '-2' is not a count"),
    ('TUBE.FAIR(M;"EL84";;;;;1.5)', "set_size: '1.5' is not a count"),
    ('TUBE.FAIR(M;"#N/A")', "'tube' holds the error #N/A"),
    # tables
    ("TUBE.FAIRTABLE(M;R1)", "'items' is empty"),
    ("TUBE.FAIRTABLE(M;R2)", "headings and no row below"),
    ("TUBE.FAIRTABLE(M;R3)", "no heading 'type' (met: tube kind?, who)"),
    ("TUBE.FAIRTABLE(M;R4)", "row 2, column grade holds the error #N/A"),
    ("TUBE.FAIRTABLE(M;R5)", "row 2, column type holds the error #DIV/0! (1 more such cells)"),
    ("TUBE.FAIRTABLE(M;R26)", "no heading 'type' (met: #N/A, maker)"),
    ("TUBE.FAIRTABLE(M;$Items.B1:D7)", "no heading 'type'"),
    ('TUBE.FAIRTABLE("x";I)', "'model' is no model but 'x'"),
    ("TUBE.FAIRTABLE(;I)", "'model' is blank"),
    ("INDEX(TUBE.FAIRTABLE(M;R12);2;5)", "The register does not know the type 'EL48'"),
    ("INDEX(TUBE.FAIRTABLE(M;R12);3;5)", "The grade 'minty' is not known"),
    ("INDEX(TUBE.FAIRTABLE(M;R13);2;5)", "'lots' is not a percentage"),
    ("INDEX(TUBE.FAIRTABLE(M;R13);3;5)", "'some' is not a count"),
    ("INDEX(TUBE.FAIRTABLE(M;R13);4;5)", "'long ago' is not a decade"),
    ("TUBE.WHY(M;R1)", "'items' is empty"),
    ("TUBE.WHY(M;R3)", "no heading 'type'"),
    ("TUBE.WHY(M;R20)", "'items' has 51 rows"),
    ("INDEX(TUBE.WHY(M;R12);2;3)", "The register does not know the type 'EL48'"),
    ('TUBE.WHY("";I)', "'model' is blank"),
    ("TUBE.COMPARABLES(M;0;I)", "'count' is blank"),
    ("TUBE.COMPARABLES(M;-3;I)", "'count' is '-3"),
    ("TUBE.COMPARABLES(M;2.5;I)", "'count' is '2.5'"),
    ('TUBE.COMPARABLES(M;"many";I)', "'count' is 'many'"),
    ("TUBE.COMPARABLES(M;;I)", "'count' is blank"),
    ("TUBE.COMPARABLES(M;1000;I)", "whole number from 1 to 200"),
    ("TUBE.COMPARABLES(M;3;R1)", "'items' is empty"),
    ("INDEX(TUBE.COMPARABLES(M;3;R12);2;4)", "The register does not know the type 'EL48'"),
    ("TUBE.LISTPRICE(M;R1)", "'items' is empty"),
    ("TUBE.LISTPRICE(M;R3)", "no heading 'type'"),
    ("TUBE.LISTPRICE(M;I;R15)", "no setting 'curency'"),
    ("INDEX(TUBE.LISTPRICE(M;R12);2;6)", "The register does not know the type 'EL48'"),
    ("INDEX(TUBE.LISTPRICE(M;R24);2;6)", "'cheap' is not an amount of money"),
    ("INDEX(TUBE.LISTPRICE(M;R24);3;6)", "'make an offer' is not an amount of money"),
    # register
    ('TUBE.RATING("EL48";"mu")', "does not know the type 'EL48'"),
    ('TUBE.RATING("";"mu")', "'tube' is blank"),
    ('TUBE.RATING("EL84")', "'rating' is blank"),
    ('TUBE.RATING("EL84";"loudness")', "there is no rating 'loudness'"),
    ('TUBE.RATING("EL84";5)', "there is no rating '5"),
    ('TUBE.RATING("ECL82";"mu";"left")', "not 'left'"),
    ('TUBE.RATING("EL84";"mu";"triode")', "EL84 has none of its own"),
    ('TUBE.CIRCUITFIT("EL48";$Circuits.A1:I2)', "does not know the type 'EL48'"),
    ('TUBE.CIRCUITFIT("";$Circuits.A1:I2)', "'tube' is blank"),
    ('TUBE.CIRCUITFIT("EL84";R1)', "'circuit' is empty"),
    ('TUBE.CIRCUITFIT("EL84";R3)', "no heading 'fitted_type'"),
    ('TUBE.CIRCUITFIT("EL84";$Circuits.A1:I1)', "headings and no row below"),
    ('TUBE.CIRCUITFIT("EL84";R27)', "2 rows below its headings"),
    ('INDEX(TUBE.CIRCUITFIT("EL84";R28);14;7)', "'hot' is not a number"),
    ("TUBE.RATING($Items.A2:A4;\"mu\")", "'tube' takes one cell"),
]

# What Calc says by itself, without a call: its errors are passed on, and a range cannot be anything else.
CALC_ITSELF = [
    ("TUBE.MODEL(5)", "Err:504"),
    ('TUBE.FAIRTABLE(M;"EL84")', "Err:504"),
    ("TUBE.MODEL()", "Err:504"),
    ("TUBE.FAIR(M;NA())", "#N/A"),
    ("TUBE.FAIR(1/0;\"EL84\")", "#DIV/0!"),
    ("TUBE.MODEL(S;R16)", "Err:504"),
]
