"""The folder of a job: plain files, written atomically, never over a person's own.

`job` writes and reads them, `records` says what stands in the JSON, `lock` keeps it to one at a time, `revisions` are
kept for good, `view_record` is trace-view.json, `sample` the job that comes with the program.
"""
