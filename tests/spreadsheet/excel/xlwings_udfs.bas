Function TUBE_ALTERNATIVES(model, tube, stock, Optional circuit)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_ALTERNATIVES = XLPy.CallUDF("tube_prices", "TUBE_ALTERNATIVES", Array(model, tube, stock, circuit), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_ALTERNATIVES = XLPy.CallUDF("tube_prices", "TUBE_ALTERNATIVES", Array(model, tube, stock, circuit))
        Exit Function
    #End If
failed:
    TUBE_ALTERNATIVES = Err.Description
End Function

Function TUBE_BRIDGE(sales, from_1, to_1, from_2, to_2)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_BRIDGE = XLPy.CallUDF("tube_prices", "TUBE_BRIDGE", Array(sales, from_1, to_1, from_2, to_2), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_BRIDGE = XLPy.CallUDF("tube_prices", "TUBE_BRIDGE", Array(sales, from_1, to_1, from_2, to_2))
        Exit Function
    #End If
failed:
    TUBE_BRIDGE = Err.Description
End Function

Function TUBE_CIRCUIT_FIT(tube, circuit)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_CIRCUIT_FIT = XLPy.CallUDF("tube_prices", "TUBE_CIRCUIT_FIT", Array(tube, circuit), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_CIRCUIT_FIT = XLPy.CallUDF("tube_prices", "TUBE_CIRCUIT_FIT", Array(tube, circuit))
        Exit Function
    #End If
failed:
    TUBE_CIRCUIT_FIT = Err.Description
End Function

Function TUBE_COMPARABLES(model, count, items)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_COMPARABLES = XLPy.CallUDF("tube_prices", "TUBE_COMPARABLES", Array(model, count, items), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_COMPARABLES = XLPy.CallUDF("tube_prices", "TUBE_COMPARABLES", Array(model, count, items))
        Exit Function
    #End If
failed:
    TUBE_COMPARABLES = Err.Description
End Function

Function TUBE_DISCOUNT(price, percent, cost, Optional settings)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_DISCOUNT = XLPy.CallUDF("tube_prices", "TUBE_DISCOUNT", Array(price, percent, cost, settings), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_DISCOUNT = XLPy.CallUDF("tube_prices", "TUBE_DISCOUNT", Array(price, percent, cost, settings))
        Exit Function
    #End If
failed:
    TUBE_DISCOUNT = Err.Description
End Function

Function TUBE_FAIR(model, tube, Optional maker, Optional era, Optional grade, Optional reading, Optional set_size, Optional channel, Optional variant_, Optional brand)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_FAIR = XLPy.CallUDF("tube_prices", "TUBE_FAIR", Array(model, tube, maker, era, grade, reading, set_size, channel, variant_, brand), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_FAIR = XLPy.CallUDF("tube_prices", "TUBE_FAIR", Array(model, tube, maker, era, grade, reading, set_size, channel, variant_, brand))
        Exit Function
    #End If
failed:
    TUBE_FAIR = Err.Description
End Function

Function TUBE_FAIR_TABLE(model, items)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_FAIR_TABLE = XLPy.CallUDF("tube_prices", "TUBE_FAIR_TABLE", Array(model, items), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_FAIR_TABLE = XLPy.CallUDF("tube_prices", "TUBE_FAIR_TABLE", Array(model, items))
        Exit Function
    #End If
failed:
    TUBE_FAIR_TABLE = Err.Description
End Function

Function TUBE_LIST_PRICE(model, items, Optional settings)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_LIST_PRICE = XLPy.CallUDF("tube_prices", "TUBE_LIST_PRICE", Array(model, items, settings), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_LIST_PRICE = XLPy.CallUDF("tube_prices", "TUBE_LIST_PRICE", Array(model, items, settings))
        Exit Function
    #End If
failed:
    TUBE_LIST_PRICE = Err.Description
End Function

Function TUBE_LOT_BID(model, lines, Optional settings)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_LOT_BID = XLPy.CallUDF("tube_prices", "TUBE_LOT_BID", Array(model, lines, settings), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_LOT_BID = XLPy.CallUDF("tube_prices", "TUBE_LOT_BID", Array(model, lines, settings))
        Exit Function
    #End If
failed:
    TUBE_LOT_BID = Err.Description
End Function

Function TUBE_LOT_COST(lines, paid)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_LOT_COST = XLPy.CallUDF("tube_prices", "TUBE_LOT_COST", Array(lines, paid), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_LOT_COST = XLPy.CallUDF("tube_prices", "TUBE_LOT_COST", Array(lines, paid))
        Exit Function
    #End If
failed:
    TUBE_LOT_COST = Err.Description
End Function

Function TUBE_MARGIN(sales, Optional date_from, Optional date_to)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_MARGIN = XLPy.CallUDF("tube_prices", "TUBE_MARGIN", Array(sales, date_from, date_to), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_MARGIN = XLPy.CallUDF("tube_prices", "TUBE_MARGIN", Array(sales, date_from, date_to))
        Exit Function
    #End If
failed:
    TUBE_MARGIN = Err.Description
End Function

Function TUBE_MODEL(sales, Optional settings)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_MODEL = XLPy.CallUDF("tube_prices", "TUBE_MODEL", Array(sales, settings), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_MODEL = XLPy.CallUDF("tube_prices", "TUBE_MODEL", Array(sales, settings))
        Exit Function
    #End If
failed:
    TUBE_MODEL = Err.Description
End Function

Function TUBE_QUALITY(listening)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_QUALITY = XLPy.CallUDF("tube_prices", "TUBE_QUALITY", Array(listening), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_QUALITY = XLPy.CallUDF("tube_prices", "TUBE_QUALITY", Array(listening))
        Exit Function
    #End If
failed:
    TUBE_QUALITY = Err.Description
End Function

Function TUBE_QUALITY_COST(model, listening, stock)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_QUALITY_COST = XLPy.CallUDF("tube_prices", "TUBE_QUALITY_COST", Array(model, listening, stock), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_QUALITY_COST = XLPy.CallUDF("tube_prices", "TUBE_QUALITY_COST", Array(model, listening, stock))
        Exit Function
    #End If
failed:
    TUBE_QUALITY_COST = Err.Description
End Function

Function TUBE_RATING(tube, rating, Optional section)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_RATING = XLPy.CallUDF("tube_prices", "TUBE_RATING", Array(tube, rating, section), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_RATING = XLPy.CallUDF("tube_prices", "TUBE_RATING", Array(tube, rating, section))
        Exit Function
    #End If
failed:
    TUBE_RATING = Err.Description
End Function

Function TUBE_SETS(readings, tolerance, prices)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_SETS = XLPy.CallUDF("tube_prices", "TUBE_SETS", Array(readings, tolerance, prices), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_SETS = XLPy.CallUDF("tube_prices", "TUBE_SETS", Array(readings, tolerance, prices))
        Exit Function
    #End If
failed:
    TUBE_SETS = Err.Description
End Function

Function TUBE_UNDERPRICED(model, offers, Optional settings)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_UNDERPRICED = XLPy.CallUDF("tube_prices", "TUBE_UNDERPRICED", Array(model, offers, settings), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_UNDERPRICED = XLPy.CallUDF("tube_prices", "TUBE_UNDERPRICED", Array(model, offers, settings))
        Exit Function
    #End If
failed:
    TUBE_UNDERPRICED = Err.Description
End Function

Function TUBE_WHY(model, items)
    If (Not Application.CommandBars("Standard").Controls(1).Enabled) Then Exit Function
    #If App = "Microsoft Excel" Then
        If TypeOf Application.Caller Is Range Then On Error GoTo failed
        TUBE_WHY = XLPy.CallUDF("tube_prices", "TUBE_WHY", Array(model, items), ThisWorkbook, Application.Caller)
        Exit Function
    #Else
        TUBE_WHY = XLPy.CallUDF("tube_prices", "TUBE_WHY", Array(model, items))
        Exit Function
    #End If
failed:
    TUBE_WHY = Err.Description
End Function

