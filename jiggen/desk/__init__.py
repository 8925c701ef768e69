"""Room: desk. The pages to work from in a browser, served to this computer alone.

`server` starts it, `guard` refuses what does not come from its own pages, `site` joins the pages,
`forms` shows options as fields, `works` has long work done by processes.
"""
