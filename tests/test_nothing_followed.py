"""A workbook with links to other files, the net and programs is read with nothing of that touched."""

import io
import json
import subprocess
import sys
import zipfile

import openpyxl

import pricing

CHILD = """
import json, sys
import pricing
pricing.read_shop(sys.argv[1])  # whatever is loaded on first use is loaded now
met = []
def heard(event, arguments):
    if event == "open" and isinstance(arguments[0], (str, bytes)) or event.split(".")[0] in (
            "socket", "subprocess", "os", "urllib", "ctypes", "webbrowser", "ftplib", "http"):
        met.append([event, str(arguments[0]) if arguments else ""])
sys.addaudithook(heard)
pricing.read_shop(sys.argv[2])
print(json.dumps(met))
"""
RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
OUTSIDE = f'''<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="rId1" Type="{RELATIONS}/externalLinkPath" Target="file:///etc/passwd" TargetMode="External"/>
</Relationships>'''
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
PARTS = {
    "xl/externalLinks/externalLink1.xml":
        f'<externalLink xmlns="{MAIN}" xmlns:r="{RELATIONS}"><externalBook r:id="rId1"><sheetNames><sheetName val="S"/>'
        '</sheetNames></externalBook></externalLink>',
    "xl/externalLinks/_rels/externalLink1.xml.rels": OUTSIDE,
    "xl/externalLinks/externalLink2.xml":
        f'<externalLink xmlns="{MAIN}"><ddeLink ddeService="cmd" ddeTopic="/C calc"><ddeItems><ddeItem name="A0" '
        'advise="1"/></ddeItems></ddeLink></externalLink>',
    "xl/connections.xml": f'<connections xmlns="{MAIN}"><connection id="1" name="c" type="4" refreshOnLoad="1">'
                          '<webPr url="http://localhost/"/></connection></connections>',
    "xl/queryTables/queryTable1.xml": f'<queryTable xmlns="{MAIN}" name="q" connectionId="1" refreshOnLoad="1"/>',
    "xl/embeddings/oleObject1.bin": "not opened",
}


def workbook(folder, name, with_links):
    """A shop of one sale; `with_links` has every kind of pointer outside, cells among them."""
    book = openpyxl.Workbook()
    book.active.title = "Sales"
    book.active.append(["sold_on", "type", "price", "note"])
    book.active.append(["2025-01-02", "EL84", 20, "plain"])
    if with_links:
        for formula in ("=[1]S!A1", '=HYPERLINK("http://localhost/")', '=WEBSERVICE("http://localhost/")', "=[2]!A0"):
            book.active.append(["2025-01-03", "EL84", 20, formula])
        book.active["D2"].hyperlink = "http://localhost/"
    plain, full = io.BytesIO(), io.BytesIO()
    book.save(plain)
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(full, "w") as new:
        for part in old.namelist():
            new.writestr(part, old.read(part))
        for part, content in PARTS.items() if with_links else ():
            new.writestr(part, content)
    (folder / name).write_bytes(full.getvalue())
    return folder / name


def test_only_the_file_itself_is_opened(tmp_path):
    """By Python's audit events, which do not hear the compiled reader: no socket, no program, no other file."""
    first, second = workbook(tmp_path, "plain.xlsx", False), workbook(tmp_path, "links.xlsx", True)
    child = subprocess.run([sys.executable, "-c", CHILD, first, second], capture_output=True, text=True, timeout=60,
                           check=True)
    met = json.loads(child.stdout)
    assert {event for event, _ in met} == {"open"}
    own = (sys.prefix, sys.base_prefix, pricing.__path__[0])
    assert {path for _, path in met if not path.startswith(own)} == {str(second)}
