"""A season of readings -> what has moved, since when and how sure: like for like, the fleet's common part taken out.

`epochs` tells where a comparison must start anew, `together` what the whole fleet did, `movement` what one engine did.
"""
