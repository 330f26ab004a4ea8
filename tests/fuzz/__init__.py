"""Odd inputs, odd orders and sudden ends: a few seeded cases in every run of the tests, as many as wanted by command.

    python -m tests.fuzz --cases 100000 --kills 200 --jobs 200

`mutate` spoils good inputs, `targets` are what reads them, `kills` ends processes in the middle of a change, and
`job_machine` does the commands, the bench and a person's own hand to one job in any order. Whatever is neither done nor
refused in a sentence is a defect, and so is what takes longer than `targets.SLOW_S`.
"""
