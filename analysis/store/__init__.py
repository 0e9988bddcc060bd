"""Keeps every row ever received, and gives back what was known at any time.

SQLite by default, PostgreSQL by address. Rows are only added; a correction is a later
version of its key; a file is stored whole or not at all.
"""

from analysis.store.accesses import ActsOf
from analysis.store.calls import NewCall
from analysis.store.every_version import EveryVersion
from analysis.store.faults import (
    CallExistsError,
    RecordedBeforeError,
    RecordedSinceError,
    StoreError,
)
from analysis.store.known import Registry
from analysis.store.passwords import LEAST_CHARACTERS
from analysis.store.people import People
from analysis.store.provenance import FileBefore, SourceRow, TableCount
from analysis.store.provider_users import ProviderUser
from analysis.store.second_factor import authenticator_address
from analysis.store.sign_ins import IDLE_LIMIT, number_of
from analysis.store.signing_in import SignIn
from analysis.store.store import Store
from analysis.store.training_sessions import Change, ChangedMeanwhileError
from analysis.store.users import User
from analysis.store.visits import SeenBefore
from analysis.store.writing import Added, FileInfo, Writer

__all__ = [
    "IDLE_LIMIT",
    "LEAST_CHARACTERS",
    "ActsOf",
    "Added",
    "CallExistsError",
    "Change",
    "ChangedMeanwhileError",
    "EveryVersion",
    "FileBefore",
    "FileInfo",
    "NewCall",
    "People",
    "ProviderUser",
    "RecordedBeforeError",
    "RecordedSinceError",
    "Registry",
    "SeenBefore",
    "SignIn",
    "SourceRow",
    "Store",
    "StoreError",
    "TableCount",
    "User",
    "Writer",
    "authenticator_address",
    "number_of",
]
