"""Which files does a machine need that serves linedays to several desks? Templates, filled in."""

from dashboard.setup.files import Proxy, setup_files

__all__ = ["Proxy", "setup_files"]
