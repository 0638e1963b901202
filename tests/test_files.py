"""Files that a user names: every kind of name is answered at once, with the reason and a remedy."""

import os
import socket
import stat
import threading

import pytest

from binestimator.errors import InputError, WeatherError
from binestimator.inputs import files
from binestimator.inputs.files import read_file, readable_file


def message(path, **options):
    with pytest.raises(InputError) as caught:
        readable_file(path, "project file", **options)
    with pytest.raises(InputError) as again:
        read_file(path, "project file", largest=options.get("largest", 100))
    assert str(again.value) == str(caught.value)
    return str(caught.value)


def test_a_file_is_read_also_through_a_link(tmp_path):
    path = tmp_path / "a.toml"
    path.write_bytes(b"12345")
    (tmp_path / "link.toml").symlink_to("a.toml")
    for name in ("a.toml", "link.toml"):
        assert readable_file(tmp_path / name, "project file") == tmp_path / name
        assert read_file(str(tmp_path / name), "project file", largest=5) == b"12345"


def test_the_error_is_of_the_class_asked_for(tmp_path):
    with pytest.raises(WeatherError, match="the weather file does not exist"):
        readable_file(tmp_path / "x", "weather file", error=WeatherError)
    with pytest.raises(WeatherError, match="is a folder"):
        read_file(tmp_path, "weather file", largest=5, error=WeatherError)


def test_missing(tmp_path):
    assert message(tmp_path / "a.toml").endswith("a.toml: the project file does not exist; check name and folder")
    (tmp_path / "Office.toml").write_text("")
    assert message(tmp_path / "ofice.toml").endswith("does not exist; did you mean Office.toml?")
    assert f"there is no folder {tmp_path / 'no'};" in message(tmp_path / "no" / "deep" / "a.toml")
    assert "Office.toml is a file, not a folder" in message(tmp_path / "Office.toml" / "a.toml")


def test_names_that_no_file_can_have(tmp_path):
    assert "cannot be read" in message("bad\x00name.toml")
    assert "cannot be read (File name too long)" in message(tmp_path / ("a" * 300))


def test_folder_pipe_socket_device(tmp_path):
    assert "is a folder, not a file" in message(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    assert "is a pipe, not a file" in message(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(os.path.relpath(tmp_path / "socket"))
        assert "is a socket, not a file" in message(tmp_path / "socket")
    assert "is a device, not a file" in message("/dev/zero")


def test_links_that_lead_nowhere_or_in_a_circle(tmp_path):
    (tmp_path / "nowhere").symlink_to("gone.toml")
    assert "is a link to gone.toml, and nothing is there" in message(tmp_path / "nowhere")
    (tmp_path / "a").symlink_to("b")
    (tmp_path / "b").symlink_to("a")
    assert "links lead in a circle" in message(tmp_path / "a")


def test_too_large(tmp_path):
    (tmp_path / "a.toml").write_bytes(b"123456")
    assert "has 6 bytes; expected at most 5" in message(tmp_path / "a.toml", largest=5)


def test_without_permission(tmp_path, monkeypatch):
    (tmp_path / "a.toml").write_text("")
    monkeypatch.setattr(files.os, "access", lambda *_: False)
    assert "(Permission denied); ask its owner" in message(tmp_path / "a.toml")


def test_a_failing_drive(tmp_path, monkeypatch):
    (tmp_path / "a.toml").write_text("")

    def fail(*_):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(files.os, "open", fail)
    with pytest.raises(InputError, match=r"cannot be read \(Input/output error\)"):
        read_file(tmp_path / "a.toml", "project file", largest=5)


def test_a_file_replaced_by_a_pipe_in_between_is_not_waited_for(tmp_path, monkeypatch):
    os.mkfifo(tmp_path / "pipe")
    monkeypatch.setattr(files, "readable_file", lambda *_, **__: None)
    answer = []
    thread = threading.Thread(target=lambda: answer.append(_text(tmp_path / "pipe")), daemon=True)
    thread.start()
    thread.join(10)
    assert answer and "is a pipe" in answer[0]


def test_a_file_that_grew_in_between_is_not_read_whole(tmp_path, monkeypatch):
    path = tmp_path / "a.toml"
    path.write_bytes(b"123456")
    before = os.stat(path)
    monkeypatch.setattr(files, "readable_file", lambda *_, **__: None)
    monkeypatch.setattr(files.os, "fstat", lambda _: os.stat_result((stat.S_IFREG, *before[1:6], 0, *before[7:10])))
    assert "more than 5 bytes" in _text(path)


def _text(path):
    try:
        read_file(path, "project file", largest=5)
    except InputError as error:
        return str(error)
    return ""
