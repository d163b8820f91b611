"""One watcher for one panel."""

import pytest

from analysis.watch.lock import FolderLock
from vision.errors import WetlineError


def test_lock_is_free_after_use(tmp_path):
    with FolderLock(tmp_path), pytest.raises(WetlineError, match="already"):
        FolderLock(tmp_path).__enter__()
    with FolderLock(tmp_path):
        assert (tmp_path / ".watch.lock").exists()


def test_a_folder_that_cannot_be_written_to_is_named(tmp_path):
    with pytest.raises(WetlineError, match="cannot be written to"):
        FolderLock(tmp_path / "not there").__enter__()
