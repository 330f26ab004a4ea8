"""What jaws say, and whether jaws can take it.

In: words or a CSV file. Out: `readings.Reading`; `jaw_reach` refuses what no caliper can reach.
"""
