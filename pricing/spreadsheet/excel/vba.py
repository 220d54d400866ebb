"""The VBA side of the cell functions, for those who import a file by hand instead of letting xlwings write it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from pricing.spreadsheet.cell_functions.spec import CellFunction

MODULE = "xlwings_udfs"  # the name xlwings gives it: importing by either way replaces the other's
LONGEST_HELP = 255
# Reserved identifiers that an argument could meet ([MS-VBAL] 3.3.5.2, without those that hold no plain word), and the
# names the wrapper itself uses.
RESERVED = frozenset("""
    abs access addressof alias and any append array as attribute base binary boolean byref byte byval call case cbool
    cbyte ccur cdate cdbl cdec cdecl cint circle clng clnglng clngptr close compare const csng cstr currency cvar cverr
    date debug decimal declare defbool defbyte defcur defdate defdbl defdec defint deflng defobj defsng defstr defvar
    dim do doevents double each else elseif empty end endif enum eqv erase error event exit explicit false fix for
    friend function get global gosub goto if imp implements in input inputb int integer is lbound len lenb let lib like
    line linecontinue lock long longlong longptr loop lset me mid midb mod module name new next not nothing null object
    on open option optional or output paramarray preserve print private property pset public put raiseevent random read
    redim reset resume return rset scale seek select set sgn shared single spc static step stop string sub tab text then
    to true type typeof ubound unlock until variant wend while width with withevents write xor
    application array caller err failed thisworkbook xlpy
""".split())


def vba_name(name: str) -> str:
    """An argument's name as VBA takes it: with an underscore after it where the word is reserved."""
    return f"{name}_" if name.casefold() in RESERVED else name


def help_text(text: str) -> str:
    """Help as long as Excel shows it."""
    return textwrap.shorten(text, LONGEST_HELP, placeholder="...")


def vba_module(module: str, functions: Iterable[CellFunction]) -> str:
    """A .bas file: every function as xlwings wraps those of the Python module `module`, and a macro that gives the
    function wizard its help. ASCII, lines ending in CR LF, as the VBA editor reads them."""
    ordered = sorted(functions, key=lambda one: one.excel_name)
    lines = [f'Attribute VB_Name = "{MODULE}"',
             "'Written by python -m pricing connect excel; made again, it replaces this.",
             """#Const App = "Microsoft Excel" 'Adjust when using outside of Excel""",
             *(line for one in ordered for line in wrapper(module, one)), *_described(ordered)]
    return "\r\n".join([*lines, ""])


def wrapper(module: str, one: CellFunction) -> list[str]:
    """Lines of one function, the same as xlwings writes."""
    names = [vba_name(argument.name) for argument in one.arguments]
    signature = ", ".join(f"Optional {name}" if argument.optional else name
                          for name, argument in zip(names, one.arguments))
    call = f'{one.excel_name} = XLPy.CallUDF("{module}", "{one.excel_name}", Array({", ".join(names)})'
    return [
        f"Function {one.excel_name}({signature})",
        '    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function',
        '    #If App = "Microsoft Excel" Then',
        "        If TypeOf Application.Caller Is Range Then On Error GoTo failed",
        f"        {call}, ThisWorkbook, Application.Caller)",
        "        Exit Function",
        "    #Else",
        f"        {call})",
        "        Exit Function",
        "    #End If",
        "failed:",
        f"    {one.excel_name} = Err.Description",
        "End Function",
        "",
    ]


def _described(functions: Iterable[CellFunction]) -> list[str]:
    """Macro that says for every function what xlwings says when it imports one."""
    lines = ["Sub DescribeTubeFunctions()"]
    for one in functions:
        helps = [_quoted(help_text(argument.help)) for argument in one.arguments]
        lines += [f"    Describe {_quoted(one.excel_name)}, {_quoted(one.category)}, _",
                  f"        {_quoted(help_text(one.help))}, Array( _",
                  *(f"        {text}, _" for text in helps[:-1]), f"        {helps[-1]})"]
    return [
        *lines,
        "End Sub",
        "",
        "Private Sub Describe(macro_name, category_name, words, argument_words)",
        "    Application.MacroOptions Macro:=\"'\" & ThisWorkbook.Name & \"'!\" & macro_name, Description:=words, _",
        "        Category:=category_name, ArgumentDescriptions:=argument_words",
        "End Sub",
    ]


def _quoted(text: str) -> str:
    return '"{}"'.format(text.replace('"', '""'))
