"""
The second world, as a survey of breakdowns: appliances by table, parts that age, causes that strike
several.
"""
