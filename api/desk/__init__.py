"""The phone desk at ``/desk``: pages for the person with a caller on the line.

It keeps no knowledge of its own: what is asked, in which words and order, comes from
``api.interview``; cases are kept by ``api.cases``; the engine answers.
"""
