"""Files of any kind are read whole, or refused before they are opened."""

import os
import socket
import sys
from pathlib import Path

import pytest

from vision.common.outside.input_files import (
    UNREADABLE,
    check_file,
    file_hash,
    is_there,
    one_line,
    plain_text,
    read_file,
    read_text,
)
from vision.errors import WetlineError


def test_a_plain_file_is_read_whole(tmp_path):
    path = tmp_path / "marks.csv"
    path.write_bytes(b"\xef\xbb\xbftime_s\r\n\xc2\xb5\r\n")
    assert check_file(path) == 15
    assert read_file(path) == b"\xef\xbb\xbftime_s\r\n\xc2\xb5\r\n"
    assert read_text(path) == "time_s\r\n\u00b5\r\n"


def test_a_link_to_a_plain_file_is_one(tmp_path):
    (tmp_path / "a.csv").write_text("x", encoding="utf-8")
    try:
        (tmp_path / "b.csv").symlink_to(tmp_path / "a.csv")
    except OSError:
        pytest.skip("no links here")
    assert read_text(tmp_path / "b.csv") == "x"


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(WetlineError, match="is a folder, not a file that can be read"):
        read_file(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_refused_without_waiting(tmp_path):
    os.mkfifo(tmp_path / "log.csv")
    with pytest.raises(WetlineError, match="is a pipe"):
        read_file(tmp_path / "log.csv")


@pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="no sockets in folders here")
def test_a_socket_is_refused(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # a socket's own path must be short
    with socket.socket(socket.AF_UNIX) as one:
        one.bind("log.csv")
        with pytest.raises(WetlineError, match="is a socket"):
            read_file(Path("log.csv"))


@pytest.mark.skipif(sys.platform == "win32", reason="devices are no files there")
def test_a_device_is_refused():
    with pytest.raises(WetlineError, match="is a device"):
        read_file(Path(os.devnull))


def test_a_file_that_is_far_too_large_is_refused_unread(tmp_path):
    path = tmp_path / "log.csv"
    with path.open("wb") as file:
        file.truncate(30_000_000)  # takes no room on most disks
    with pytest.raises(WetlineError, match="is 30 MB large, more than 20 MB"):
        read_text(path)
    assert len(read_file(path, 40_000_000)) == 30_000_000


@pytest.mark.parametrize("name", ["none.csv", "a" * 5000, "nul\0"])
def test_what_is_not_there_is_an_os_error(tmp_path, name):
    assert not is_there(tmp_path / name)
    with pytest.raises(OSError, match=r"name|file|long"):
        read_file(tmp_path / name)


def test_text_for_any_screen():
    assert plain_text("K\udcfchne \u20ac") == "K\ufffdhne \u20ac"
    assert one_line("a\nb\x1b[2Jc\u2028d") == "a b [2Jc d"


def test_hash_is_the_published_sha_256(tmp_path):
    # FIPS 180-4 (NIST 2015): the example message "abc".
    path = tmp_path / "message"
    path.write_bytes(b"abc")
    assert file_hash(path) == ("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")
    assert file_hash(tmp_path / "nowhere") == UNREADABLE
