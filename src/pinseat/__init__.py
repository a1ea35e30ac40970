"""Will a pin-retained bridge seat, and if not, which copy lost the fit?

The public calls are re-exported by the folder that owns them; see ``docs/reference``.
"""

__version__ = "0.1.0"
