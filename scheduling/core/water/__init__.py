"""From weather to minutes: reference ET, demand, application, soil, balance, season, clock and budget.

Pure computing on NumPy float64 arrays. Depths are mm, areas m2, volumes litres, times minutes, unless a
name says otherwise. Latitude is signed (south negative). Nothing here knows Django, a clock or a disk.
"""
