"""The log survives what happens to files in a workshop, and never says what it cannot vouch for."""

import errno
import json
import os
import signal
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from faulttree.session import journal
from faulttree.session.events import Closed, ComplaintTaken, Noted, Opened, Withdrawn
from faulttree.session.journal import (
    Journal,
    JournalError,
    SessionHeld,
    create,
    find_session,
    insist_writable,
    knowledge_of,
    list_sessions,
    logs_in,
    open_journal,
    read,
    slug,
)
from faulttree.session.state import BrokenLog
from faulttree.tree.model import Knowledge

AT = datetime(2026, 3, 9, 8, 15, tzinfo=UTC)


@pytest.fixture
def log(tmp_path: Path, opened: Opened, knowledge: Knowledge) -> Iterator[Journal]:
    """A session of four entries, open for writing."""
    with create(tmp_path / "sessions", opened, knowledge, "A. Tester", AT) as made:
        made.append(ComplaintTaken("unsteady"), "A. Tester", AT)
        made.append(Noted("a smell of petrol"), "A. Tester", AT)
        made.append(Noted("hose split, 3 mm"), "B. Other", AT)
        yield made


@pytest.fixture
def path(log: Journal) -> Path:
    """The file of the same session, closed for writing."""
    log.close()
    return log.path


def texts(path: Path) -> list[str]:
    """The notes that can be read from a log."""
    return [fact.event.text for fact in read(path).state.notes]


def test_what_is_appended_is_read_again(log: Journal) -> None:
    """A log read again gives the same envelopes and state as were written, in order."""
    again = read(log.path)
    assert again.envelopes == log.record.envelopes
    assert again.state == log.state
    assert [envelope.sequence for envelope in again.envelopes] == [1, 2, 3, 4]
    assert again.envelopes[3].who == "B. Other"
    assert again.envelopes[0].at == AT
    assert again.damage is None


def test_file_name(path: Path) -> None:
    """A log is called after its day and title, with four hex digits against doubles."""
    name = path.name
    assert name.startswith("2026-03-09-blue-estate-idle-hunts-")
    assert len(name) == len("2026-03-09-blue-estate-idle-hunts-") + 4 + len(".jsonl")
    int(name[-10:-6], 16)


def test_every_line_is_plain_json_chained_by_sha256(path: Path) -> None:
    """Each line is one JSON object that names the SHA-256 of the line before it."""
    import hashlib

    before = "0" * 64
    for number, line in enumerate(path.read_bytes().splitlines(), 1):
        data = json.loads(line)
        assert data["sequence"] == number
        assert data["before"] == before
        before = hashlib.sha256(line).hexdigest()


def test_knowledge_is_kept_beside(path: Path, knowledge: Knowledge) -> None:
    """What the session knew is kept once under its digest, and comes back the same."""
    kept = list((path.parent / "knowledge").iterdir())
    assert [file.name for file in kept] == [f"{knowledge.digest}.json"]
    again = knowledge_of(read(path))
    assert again.tests == knowledge.tests
    assert again.digest == knowledge.digest


def test_missing_or_changed_knowledge_is_said(path: Path, knowledge: Knowledge) -> None:
    """Knowledge that is gone, or not what the log was written with, is an error with advice."""
    kept = path.parent / "knowledge" / f"{knowledge.digest}.json"
    document = json.loads(kept.read_text())
    document["causes"][0]["how_common"] = 0.9
    for spoilt in (json.dumps(document), "[]", "{}", "not JSON", ""):
        kept.write_text(spoilt)
        with pytest.raises(JournalError, match="was changed"):
            knowledge_of(read(path))
    kept.unlink()
    with pytest.raises(JournalError, match="Copy the folder `knowledge`"):
        knowledge_of(read(path))


def test_torn_at_every_byte_of_the_last_line(path: Path) -> None:
    """Wherever the last line is torn, it is reported and left out, and nothing else is."""
    whole = path.read_bytes()
    start = whole[:-1].rindex(b"\n") + 1
    for end in range(start, len(whole)):
        path.write_bytes(whole[:end])
        record = read(path)
        assert [fact.event.text for fact in record.state.notes] == ["a smell of petrol"]
        assert record.size == start
        if end == start:
            assert record.damage is None
        else:
            assert record.damage is not None
            assert record.damage.tail
            assert record.damage.line == 4
            assert "line 4 is incomplete" in str(record.damage)


def test_torn_last_line_is_kept_and_cut_off_on_resuming(path: Path) -> None:
    """Resuming a torn log keeps the torn piece in a file of its own and goes on before it."""
    whole = path.read_bytes()
    start = whole[:-1].rindex(b"\n") + 1
    path.write_bytes(whole[: start + 17])
    with open_journal(path, "C. Third") as resumed:
        assert resumed.dropped is not None
        assert resumed.dropped.line == 4
        resumed.append(Noted("went on"), "C. Third", AT)
    assert texts(path) == ["a smell of petrol", "went on"]
    assert read(path).damage is None
    (copy,) = path.parent.glob("*.torn-*")
    assert copy.read_bytes() == whole[start : start + 17]


def test_blocks_of_noughts_after_a_power_cut_are_a_torn_line(path: Path) -> None:
    """A last line whose bytes never reached the disk is dropped like one that is cut short."""
    whole = path.read_bytes()
    start = whole[:-1].rindex(b"\n") + 1
    path.write_bytes(whole[:start] + b"\0" * 200 + b"\n")
    record = read(path)
    assert record.damage is not None
    assert record.damage.tail
    assert texts(path) == ["a smell of petrol"]


@pytest.mark.parametrize("line", [2, 3])
def test_a_changed_line_breaks_the_chain(path: Path, line: int) -> None:
    """A line that was changed is found at the line after it, which is no longer trusted."""
    lines = path.read_bytes().splitlines(keepends=True)
    lines[line - 1] = lines[line - 1].replace(b'"who": "A.', b'"who": "X.')
    path.write_bytes(b"".join(lines))
    record = read(path)
    assert record.damage is not None
    assert not record.damage.tail
    assert record.damage.line == line + 1
    assert f"does not follow from line {line}" in str(record.damage)
    assert len(record.envelopes) == line


def test_a_line_taken_out_or_doubled_breaks_the_chain(path: Path) -> None:
    """Lines can be neither taken out of a log, nor doubled, nor swapped, without being found."""
    lines = path.read_bytes().splitlines(keepends=True)
    one, two, three, four = lines
    for spoilt in ([one, three, four], [one, two, two, three], [one, three, two, four]):
        path.write_bytes(b"".join(spoilt))
        record = read(path)
        assert record.damage is not None
        assert not record.damage.tail


@pytest.mark.parametrize(
    "junk",
    [b"{", b"[]", b"nonsense", b"\xff\xfe", b"", b'{"format": 1}', b"[" * 100_000, b"1" * 5000],
)
def test_junk_in_the_middle_is_reported_and_nothing_after_it_trusted(
    path: Path, junk: bytes
) -> None:
    """A line that cannot be read is named with its number; what stands before it is shown."""
    lines = path.read_bytes().splitlines(keepends=True)
    lines[2] = junk + b"\n"
    data = b"".join(lines)
    path.write_bytes(data)
    record = read(path)
    assert record.damage is not None
    assert record.damage.line == 3
    assert not record.damage.tail
    assert len(record.envelopes) == 2
    with pytest.raises(JournalError, match="line 3 cannot be trusted"):
        open_journal(path, "A. Tester")
    assert path.read_bytes() == data


def test_first_line_must_be_right(path: Path) -> None:
    """A file whose first line is no opening of a session is no session."""
    lines = path.read_bytes().splitlines(keepends=True)
    for spoilt in (b"", b"hello\n", lines[1], b"".join(lines[1:])):
        path.write_bytes(spoilt)
        with pytest.raises(JournalError):
            read(path)


def test_newer_format_and_unknown_kind_are_refused(path: Path) -> None:
    """What a newer program wrote is refused with its line, never half understood."""
    lines = path.read_text().splitlines(keepends=True)
    for old, new, message in (
        ('"format": 1', '"format": 2', "format 2.*use a newer"),
        ('"kind": "note"', '"kind": "singing"', "'singing' is not known"),
        ('"text": ', '"colour": "red", "text": ', "'colour' of a `note` is not known"),
    ):
        path.write_text("".join([*lines[:3], lines[3].replace(old, new)]))
        with pytest.raises(JournalError, match=rf":4: .*{message}"):
            read(path)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"sequence": 4', '"sequence": true'),
        ('"sequence": 4', '"sequence": 9'),
        ('"at": "2026-', '"at": "2026/'),
        ('"who": "B. Other"', '"who": 7'),
        ('"text": "hose split, 3 mm"', '"text": null'),
        (', "text": "hose split, 3 mm"', ""),
        ('"who": ', '"who": "twice", "who": '),
    ],
)
def test_fields_of_the_wrong_type_are_not_guessed(path: Path, old: str, new: str) -> None:
    """A field that is missing, doubled or of the wrong type makes its line untrusted."""
    *lines, last = path.read_text().splitlines(keepends=True)
    assert old in last
    path.write_text("".join(lines) + last.replace(old, new))
    record = read(path)
    assert record.damage is not None
    assert record.damage.line == 4


def test_two_writers(path: Path) -> None:
    """A second writer is turned away with the name of the first; readers are not."""
    with open_journal(path, "A. Tester"):
        with pytest.raises(SessionHeld, match=r"A\. Tester \(process \d+"):
            open_journal(path, "B. Other")
        assert len(read(path).envelopes) == 4
    with open_journal(path, "B. Other") as second:
        second.append(Noted("my turn"), "B. Other", AT)


def test_writer_in_another_process_is_named(path: Path) -> None:
    """A session held by another process is refused, and free again once that process is dead."""
    code = """
        import sys, time
        from pathlib import Path
        from faulttree.session.journal import open_journal
        held = open_journal(Path(sys.argv[1]), "D. Elsewhere")
        print("held", flush=True)
        time.sleep(60)
    """
    other = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code), str(path)], stdout=subprocess.PIPE, text=True
    )
    try:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        with pytest.raises(SessionHeld, match=rf"D\. Elsewhere \(process {other.pid} "):
            open_journal(path, "A. Tester")
    finally:
        other.send_signal(signal.SIGKILL)
        other.wait()
    open_journal(path, "A. Tester").close()


def test_killed_between_appends(tmp_path: Path) -> None:
    """Every entry that was confirmed before the process was killed is there afterwards."""
    code = """
        import sys
        from pathlib import Path
        from faulttree.session.events import Noted, Opened
        from faulttree.session.journal import create
        from faulttree.tree.document import with_document
        from faulttree.tree.model import Knowledge
        knowledge = with_document(Knowledge({}, {}, {}, {}, {}, {}, {}))
        log = create(Path(sys.argv[1]), Opened("1", ("x",), knowledge.digest, "killed"),
                     knowledge, "A. Tester")
        for number in range(100_000):
            log.append(Noted(f"note {number}"), "A. Tester")
            print(number, flush=True)
    """
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code), str(tmp_path)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    confirmed = -1
    for line in process.stdout:
        confirmed = int(line)
        if confirmed >= 20:
            process.send_signal(signal.SIGKILL)
            break
    rest = process.stdout.read().split()
    process.wait()
    confirmed = int(rest[-1]) if rest else confirmed
    (path,) = tmp_path.glob("*.jsonl")
    with open_journal(path, "B. Other") as resumed:
        notes = [fact.event.text for fact in resumed.state.notes]
    assert notes[: confirmed + 1] == [f"note {number}" for number in range(confirmed + 1)]
    assert len(notes) <= confirmed + 2


def test_full_disk_leaves_the_log_as_it_was(log: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    """When only part of a line fits, nothing of it stays, the error says so, and work goes on."""
    before, state = log.path.read_bytes(), log.state
    real_write = os.write

    def short_write(handle: int, data: bytes) -> int:
        return real_write(handle, data[: len(data) // 2])

    with monkeypatch.context() as patched:
        patched.setattr(os, "write", short_write)
        with pytest.raises(JournalError, match=r"not recorded.*make room"):
            log.append(Noted("lost"), "A. Tester", AT)
    assert log.path.read_bytes() == before
    assert log.state == state
    log.append(Noted("there is room again"), "A. Tester", AT)
    assert texts(log.path)[-1] == "there is room again"


def test_failing_fsync_is_not_taken_for_written(
    log: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An entry that the disk did not confirm is an error and is taken back."""
    before = log.path.read_bytes()

    def failing(handle: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(os, "fsync", failing)
    with pytest.raises(JournalError, match="not recorded"):
        log.append(Noted("lost"), "A. Tester", AT)
    assert log.path.read_bytes() == before


def test_one_write_then_fsync_for_each_append(
    log: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Several events of one command go out in one write, and are synced before append returns."""
    calls: list[str] = []
    real_write, real_sync = os.write, os.fsync
    monkeypatch.setattr(os, "write", lambda h, d: (calls.append("write"), real_write(h, d))[1])
    monkeypatch.setattr(os, "fsync", lambda h: (calls.append("sync"), real_sync(h))[1])
    log.append([Noted("one"), Noted("two")], "A. Tester", AT)
    assert calls == ["write", "sync"]
    assert texts(log.path)[-2:] == ["one", "two"]


def test_a_file_changed_behind_the_back_is_noticed(log: Journal) -> None:
    """Nothing is appended to a log that something else wrote to."""
    with log.path.open("ab") as file:
        file.write(b"junk\n")
    with pytest.raises(JournalError, match="changed while the session was open"):
        log.append(Noted("more"), "A. Tester", AT)


def test_events_that_cannot_follow_are_not_written(log: Journal, opened: Opened) -> None:
    """An event that the fold would refuse never reaches the file, nor do those with it."""
    before = log.path.read_bytes()
    for wrong in (opened, Withdrawn(1), Withdrawn(99)):
        with pytest.raises(BrokenLog):
            log.append([Noted("fine by itself"), wrong], "A. Tester", AT)
    assert log.path.read_bytes() == before


def test_closed_for_writing(log: Journal) -> None:
    """A journal that was closed writes no more."""
    log.close()
    log.close()
    with pytest.raises(JournalError, match="open it again"):
        log.append(Noted("late"), "A. Tester", AT)


def test_hostile_text_stays_text(log: Journal) -> None:
    """Line ends, escapes and half characters neither break a line nor act on a terminal."""
    nasty = 'a\nb\r\u2028\x1b[2J\x7f\x9b31m"}\u202e \\u0000 \U0001f600'
    log.append(Noted(nasty), "A. \x1b]0;Tester", AT)
    log.append(Noted("half \ud800 character"), "A. Tester", AT)
    assert texts(log.path)[-2:] == [nasty, "half ? character"]
    data = log.path.read_bytes().decode()
    assert data.count("\n") == 6
    assert all(c.isprintable() for c in data.replace("\n", ""))


def test_list_of_sessions(tmp_path: Path, opened: Opened, knowledge: Knowledge) -> None:
    """The list tells open, closed, reopened and damaged sessions apart, the latest first."""
    folder = tmp_path / "sessions"
    assert list_sessions(folder) == []
    for title, hour in (("open", 1), ("closed", 2), ("reopened", 3), ("damaged", 4), ("torn", 5)):
        at = AT.replace(hour=hour)
        named = Opened(opened.program, opened.trees, opened.digest, title)
        with create(folder, named, knowledge, "A. Tester", at) as log:
            log.append(Noted("x"), "A. Tester", at)
            if title in ("closed", "reopened"):
                log.append(Closed("not found"), "B. Other", at)
            if title == "reopened":
                log.append(Withdrawn(3, "came back"), "A. Tester", at)
            path = log.path
        if title == "damaged":
            path.write_bytes(path.read_bytes().replace(b'"x"', b'"y"') + b"{}\n")
        if title == "torn":
            path.write_bytes(path.read_bytes() + b'{"form')
    (folder / "empty.jsonl").touch()
    (folder / "other.txt").write_text("no session")
    cards = {card.title or card.id: card for card in list_sessions(folder)}
    assert [card.title or card.id for card in list_sessions(folder)] == [
        "torn",
        "damaged",
        "reopened",
        "closed",
        "open",
        "empty",
    ]
    assert {name: card.status for name, card in cards.items()} == {
        "open": "open",
        "closed": "closed",
        "reopened": "open",
        "damaged": "damaged",
        "torn": "open",
        "empty": "damaged",
    }
    assert cards["closed"].outcome == "not found"
    assert cards["closed"].who == "B. Other"
    assert cards["open"].entries == 2
    assert cards["open"].trees == opened.trees
    assert "incomplete" in cards["torn"].trouble
    assert "line 3" in cards["damaged"].trouble


def test_session_by_the_beginning_of_its_name(
    tmp_path: Path, opened: Opened, knowledge: Knowledge
) -> None:
    """A session is found by path, name or an unambiguous beginning; else candidates are named."""
    paths = []
    for title in ("red van", "red van hot", "grey saloon"):
        named = Opened(opened.program, opened.trees, opened.digest, title)
        with create(tmp_path, named, knowledge, "A. Tester", AT) as log:
            paths.append(log.path)
    assert find_session(tmp_path, str(paths[0])) == paths[0]
    assert find_session(tmp_path, paths[0].name) == paths[0]
    assert find_session(tmp_path, paths[0].name.removesuffix(".jsonl")) == paths[0]
    assert find_session(tmp_path, "2026-03-09-grey") == paths[2]
    with pytest.raises(JournalError, match="more than one session") as two:
        find_session(tmp_path, "2026-03-09-red")
    assert paths[0].name.removesuffix(".jsonl") in str(two.value)
    assert paths[2].name.removesuffix(".jsonl") not in str(two.value)
    for nothing in ("2025", "", "x\0y", "a" * 5000):
        with pytest.raises(JournalError):
            find_session(tmp_path, nothing)
    with pytest.raises(JournalError, match="no sessions there"):
        find_session(tmp_path / "nowhere", "2026")


def test_a_name_that_is_taken_is_not_written_over(
    path: Path, opened: Opened, knowledge: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the four digits meet a file that is there already, others are drawn."""
    before = path.read_bytes()
    drawn = iter([path.name[-10:-6], path.name[-10:-6], "beef"])
    monkeypatch.setattr(journal.secrets, "token_hex", lambda size: next(drawn))
    with create(path.parent, opened, knowledge, "A. Tester", AT) as log:
        assert log.path.name.endswith("-beef.jsonl")
    assert path.read_bytes() == before


def test_knowledge_is_complete_or_not_there(
    tmp_path: Path, opened: Opened, knowledge: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When knowledge cannot be kept no half of it stays behind, and no session is begun."""

    def failing(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", failing)
    with pytest.raises(JournalError, match="make room"):
        create(tmp_path, opened, knowledge, "A. Tester", AT)
    assert list((tmp_path / "knowledge").iterdir()) == []
    assert list_sessions(tmp_path) == []


@pytest.mark.parametrize("shut", ["", "knowledge", ".locks"])
def test_a_shut_folder_is_found_out_beforehand(
    shut: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whichever of the folders that a session writes to is shut, it is named before one begins."""
    insist_writable(tmp_path / "not" / "there" / "yet")
    for name in ("knowledge", ".locks"):
        (tmp_path / name).mkdir()
    insist_writable(tmp_path)
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != tmp_path / shut)
    with pytest.raises(JournalError) as caught:
        insist_writable(tmp_path)
    assert str(caught.value).startswith(f"{tmp_path / shut}: no session can be begun here: Perm")
    assert "change its permissions, or use --sessions" in str(caught.value)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_read_only_folder(path: Path) -> None:
    """A read-only folder can be read and listed; writing says what to do."""
    folder = path.parent
    folder.chmod(0o500)
    path.chmod(0o400)
    try:
        assert len(read(path).envelopes) == 4
        assert len(list_sessions(folder)) == 1
        with pytest.raises(JournalError, match="change its permissions"):
            open_journal(path, "A. Tester")
    finally:
        folder.chmod(0o700)


@pytest.mark.parametrize("error", [errno.EROFS, errno.EACCES, errno.ENOSPC, errno.EIO])
def test_every_system_error_says_what_to_do(
    tmp_path: Path,
    opened: Opened,
    knowledge: Knowledge,
    monkeypatch: pytest.MonkeyPatch,
    error: int,
) -> None:
    """A session that cannot be begun says where and what to do, and leaves nothing behind."""

    def refuse(path: Path, data: bytes, expected: int) -> None:
        raise OSError(error, os.strerror(error), str(path))

    monkeypatch.setattr(journal, "_append", refuse)
    with pytest.raises(JournalError) as raised:
        create(tmp_path / "sessions", opened, knowledge, "A. Tester", AT)
    message = str(raised.value)
    assert os.strerror(error) in message
    assert str(tmp_path) in message
    assert message.endswith(".")
    assert list_sessions(tmp_path / "sessions") == []


def test_folder_where_a_file_is_wanted(
    tmp_path: Path, opened: Opened, knowledge: Knowledge
) -> None:
    """A file in place of the sessions folder, or a folder in place of a log, is said plainly."""
    (tmp_path / "file").touch()
    with pytest.raises(JournalError):
        create(tmp_path / "file", opened, knowledge, "A. Tester", AT)
    with pytest.raises(JournalError):
        read(tmp_path)
    with pytest.raises(JournalError, match="Look whether the name is right"):
        read(tmp_path / "missing.jsonl")


@pytest.mark.parametrize(
    ("title", "expected"),
    [
        ("Blue estate, idle hunts", "blue-estate-idle-hunts"),
        ("  ../../etc/passwd ", "etc-passwd"),
        ("Hängt im Leerlauf", "hangt-im-leerlauf"),
        ("\x1b[31m", "31m"),
        ("車", "session"),
        ("", "session"),
        ("x" * 300, "x" * 40),
    ],
)
def test_slug(title: str, expected: str) -> None:
    """A title becomes a safe, short part of a file name."""
    assert slug(title) == expected


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="has no named pipes")
def test_a_named_pipe_among_the_logs_is_not_waited_for(tmp_path: Path) -> None:
    """What can never be read to its end is no log, whatever it is called."""
    os.mkfifo(tmp_path / "pipe.jsonl")
    (tmp_path / "log.jsonl").write_text("{}\n")
    assert logs_in(tmp_path) == [tmp_path / "log.jsonl"]
