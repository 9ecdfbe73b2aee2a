"""The phone's door: the same pages, the same record, answered inside a browser without a network.

`bridge` calls the web application in process, `pocket` opens the record on the phone and looks after its copies,
`served` hands out the built folder, and `shell/` holds what the browser itself runs.
"""
