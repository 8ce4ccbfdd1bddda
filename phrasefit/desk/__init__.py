"""The desk: the whole job in a browser, served on this computer only.

`server` puts together what the other modules offer: `guard` keeps strangers out, `desk`
holds what all views share, `endpoints` turns functions into answers, and one module a view
(`songs`, ...) lists its addresses in ``ROUTES``.  What a view shows it asks of the same
rooms as the command line; nothing here computes music or words a result.
"""
