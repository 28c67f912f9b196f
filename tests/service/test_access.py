"""Who may come in, as the settings say it; the key behind the links in notices."""

import hashlib
import stat
from pathlib import Path

import pytest
from tests.service.test_settings_load import PLAIN
from typer.testing import CliRunner

from roewatch.room.fault import SettingsError
from roewatch.service.access import SessionFile, access_of, key_file, keyed, link_key
from roewatch.service.cli import app
from roewatch.service.settings.load import Setup, load_setup
from roewatch.views.passphrase import fits, hashed
from roewatch.views.visitor import KeptSession, Role

SECRET = "seven quiet pencilfish"
LINE = hashed(SECRET)
KEEPER = f'[[person]]\nname = "Keeper"\npassphrase = "{LINE}"\n'


def loaded(folder: Path, more: str) -> Setup:
    file = folder / "room.toml"
    file.write_text(f"{PLAIN}\n{more}", encoding="utf-8")
    return load_setup(file, {})


def said(folder: Path, more: str) -> str:
    with pytest.raises(SettingsError) as faulty:
        loaded(folder, more)
    return str(faulty.value)


def test_without_a_person_nobody_is_named_and_with_one_they_are(tmp_path: Path) -> None:
    assert loaded(tmp_path, "").access.people == ()
    (tmp_path / "line").write_text(f"{LINE}\n", encoding="utf-8")
    (tmp_path / "line").chmod(0o600)
    setup = loaded(
        tmp_path,
        KEEPER + '[[person]]\nname = "Stand-in"\nrole = "sitter"\npassphrase_file = "line"\n',
    )
    keeper, sitter = setup.access.people
    assert (keeper.name, keeper.role) == ("Keeper", Role.KEEPER)
    assert (sitter.name, sitter.role) == ("Stand-in", Role.SITTER)
    assert fits(SECRET, sitter.passphrase)
    assert LINE not in repr(setup)


def test_a_program_is_known_by_its_tokens_digest_alone(tmp_path: Path) -> None:
    setup = loaded(tmp_path, '[[program]]\nname = "display"\ntoken = "0123456789abcdef"\n')
    (program,) = setup.access.programs
    assert program.digest == hashlib.sha256(b"0123456789abcdef").hexdigest()
    assert program.role is Role.GUEST
    assert "0123456789abcdef" not in repr(setup)


def test_a_passphrase_written_down_plainly_is_refused_and_not_repeated(tmp_path: Path) -> None:
    text = said(tmp_path, f'[[person]]\nname = "Keeper"\npassphrase = "{SECRET}"\n')
    assert "roewatch passphrase" in text
    assert SECRET not in text


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (KEEPER + KEEPER.replace('"Keeper"', '"keeper "'), "a second person"),
        ('[[person]]\nname = "Keeper"\n', "no passphrase"),
        (KEEPER + 'role = "sitter"\n', "nobody here may change anything"),
        (KEEPER + 'role = "lord"\n', "'lord' is not a role"),
        ('[[program]]\nname = "display"\n', "no token"),
        ('[[program]]\nname = "display"\ntoken = "short"\n', "can be guessed"),
    ],
)
def test_what_is_wrong_with_people_is_said(tmp_path: Path, more: str, words: str) -> None:
    assert words in said(tmp_path, more)


def test_the_link_key_is_made_once_and_for_its_owner_alone(tmp_path: Path) -> None:
    store = tmp_path / "room.sqlite"
    key = link_key(store)
    assert len(key) == 32
    assert link_key(store) == key
    assert stat.S_IMODE(key_file(store).stat().st_mode) == 0o600
    assert link_key(tmp_path / "other.sqlite") != key


def test_a_link_key_left_open_is_closed_and_a_broken_one_is_made_anew(tmp_path: Path) -> None:
    store = tmp_path / "room.sqlite"
    key = link_key(store)
    key_file(store).chmod(0o644)
    assert link_key(store) == key
    assert stat.S_IMODE(key_file(store).stat().st_mode) == 0o600
    key_file(store).write_text("half a ke", encoding="ascii")
    anew = link_key(store)
    assert anew != key
    assert link_key(store) == anew


def test_a_key_that_cannot_be_kept_costs_the_links_and_not_the_watching(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    assert len(link_key(tmp_path / "nowhere" / "room.sqlite")) == 32
    assert "link_key_not_kept" in caplog.text


def test_notices_and_pages_share_the_key(tmp_path: Path) -> None:
    setup = keyed(loaded(tmp_path, KEEPER), b"k" * 32)
    assert access_of(setup).link_key == setup.telling.token_key == b"k" * 32
    assert access_of(setup).people == setup.access.people


def test_the_command_makes_a_line_that_fits_and_a_file_for_its_owner(tmp_path: Path) -> None:
    runner, out = CliRunner(), tmp_path / "keeper"
    shown = runner.invoke(app, ["passphrase"], input=f"{SECRET}\n")
    assert fits(SECRET, shown.stdout.strip())
    assert runner.invoke(app, ["passphrase", "--out", str(out)], input=f"{SECRET}\n").exit_code == 0
    assert fits(SECRET, out.read_text(encoding="utf-8").strip())
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    again = runner.invoke(app, ["passphrase", "--out", str(out)], input=f"{SECRET}\n")
    assert again.exit_code == 2
    short = runner.invoke(app, ["passphrase"], input="short\n")
    assert short.exit_code == 2
    assert "too few" in short.output


def test_sessions_lie_beside_the_store_for_nobody_else_to_read(tmp_path: Path) -> None:
    shelf = SessionFile(tmp_path / "roewatch.sqlite")
    assert shelf.load() == {}
    kept = {"digest": KeptSession("Keeper", 1000, "mark")}
    shelf.save(kept)
    assert shelf.load() == kept
    (file,) = tmp_path.iterdir()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    for damaged in ("", "[]", '{"a": 1}', '{"a": ["x"]}', "\x00"):
        file.write_text(damaged)
        assert shelf.load() == {}
