"""One unloaded batch: which photo shows which piece, from which side, and what is known of it.

Nobody has to name files by hand. A piece is a sub-folder, or the beginning of the file names, or
all photos between two photos of printed slips.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from grader.errors import BatchError
from grader.facts import PieceFacts, read_facts
from grader.findings import SIDES_IN_TURN, Problem, View
from grader.photo import PHOTO_SUFFIXES, read_capture_time
from grader.separator import read_slip_code, shows_chart

DEFAULT_VIEW_ORDER: tuple[View, ...] = (*SIDES_IN_TURN, "inside", "foot")
"""The order in which the sides of a piece are photographed where file names do not tell."""

FACTS_NAME = "pieces.csv"

_VIEW_WORDS: Mapping[str, View] = {
    "front": "front",
    "back": "back",
    "rear": "back",
    "left": "left",
    "right": "right",
    "inside": "inside",
    "interior": "inside",
    "foot": "foot",
    "base": "foot",
    "bottom": "foot",
    "underside": "foot",
    "top": "top",
}
# A word of a view counts only as a word: `K07front2` yes, `frontier` no.
_VIEW = re.compile(rf"(?<![a-z])({'|'.join(_VIEW_WORDS)})(?![a-z])", re.IGNORECASE)

_SEPARATOR = r"[-_ .]"
# `K07_front`, `K07 front 2`, `K07-front-b`: the code, the view, and one of several of that view.
_CODE_AND_VIEW = re.compile(
    rf"^(?P<code>.+?){_SEPARATOR}+(?:{'|'.join(_VIEW_WORDS)})(?:{_SEPARATOR}*(?:\d{{1,3}}|[a-z]))?$",
    re.IGNORECASE,
)
# `K07-2`, `K07 (2)`: the code and a count. Longer numbers belong to the code.
_CODE_AND_COUNT = re.compile(rf"^(?P<code>.+?){_SEPARATOR}+\d{{1,2}}$")
_VIEW_ALONE = re.compile(
    rf"^(?:{'|'.join(_VIEW_WORDS)})(?:{_SEPARATOR}*\d{{1,3}})?$", re.IGNORECASE
)

# Names that cameras and phones give by themselves (common practice, no source): they say nothing
# of the piece.
_CAMERA_NAME = re.compile(
    r"""^(?:
        _?(?:IMG|DSC|DSCF|DSCN|MG|SAM|GOPR|PICT|CIMG|IMGP|PXL|MVIMG|BURST|photo|image|picture)
            [-_ ]?E?\d[\d_~-]*
        | P\d{7} | \d{8}_\d{6}(?:_\d+)? | \d{4}-\d{2}-\d{2}[ _-]\d{2}[.\d-]+
        | IMG-\d{8}-WA\d+ | [0-9A-F]{8}(?:-[0-9A-F]{4}){3}-[0-9A-F]{12} | \d{3,}
    )(?:[ .(_-]?(?:MP|COVER|PORTRAIT|HDR|edited|\d{1,2}\)?))*$""",
    re.IGNORECASE | re.VERBOSE,
)

# A photo, or a folder of photos, of the colour chart alone.
_CHART_NAME = re.compile(
    r"^(?:colou?r[-_ ]*)?(?:chart|target|card)(?:[-_ ]*\d{1,3})?$", re.IGNORECASE
)

# What lies between photos without being one: phone sidecars, label pictures, small previews.
_NOT_A_PHOTO = re.compile(r"_truth$|(?:^|[-_. ])thumb(?:nail)?s?(?:[-_. ]|$)", re.IGNORECASE)
_NOT_A_PIECE = frozenset({"__macosx", "@eadir", "thumbs", "thumbnails", "lost+found"})
# Its presence tells a folder of results, which may lie among the photos.
_RESULTS = "seconds.csv"
_RAW_SUFFIXES = frozenset({".dng", ".cr2", ".cr3", ".nef", ".arw", ".raf", ".orf", ".rw2"})


@dataclass(frozen=True, slots=True)
class Shot:
    """One photo of a piece.

    Attributes
    ----------
    name : str
        Path within the batch, with `/`.
    path : Path
    view : str
        Several photos may show the same view.
    captured_at : datetime or None
    """

    name: str
    path: Path
    view: View
    captured_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class PieceEntry:
    """A piece of the batch.

    Attributes
    ----------
    code : str
    facts : PieceFacts
        Only the code is known where the list of pieces has no such row.
    shots : tuple of Shot
        In view order; empty for a piece that is on the list but was not photographed.
    """

    code: str
    facts: PieceFacts
    shots: tuple[Shot, ...]


@dataclass(frozen=True, slots=True)
class Batch:
    """A folder of photos, sorted out.

    Attributes
    ----------
    folder : Path
    pieces : tuple of PieceEntry
        Sorted by code, numbers by value.
    problems : tuple of Problem
        What could not be told or joined; ``blocks`` where something cannot be graded for it.
    charts : tuple of Path
        Photos that show only the colour chart, for the whole session.
    """

    folder: Path
    pieces: tuple[PieceEntry, ...]
    problems: tuple[Problem, ...] = ()
    charts: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True)
class _Found:
    """A photo before its view is known; ``rest`` is the part of its name that may tell."""

    name: str
    path: Path
    rest: str
    captured_at: datetime | None


def find_batch(
    folder: Path,
    *,
    facts_file: Path | None = None,
    view_order: Sequence[View] = DEFAULT_VIEW_ORDER,
) -> Batch:
    """Sort the photos of a folder into pieces and views.

    Parameters
    ----------
    folder : Path
        A piece is a sub-folder (``K07/front.jpg``), a file-name prefix (``K07_front.jpg``,
        ``K07-2.heic``), or, for loose photos with names from the camera, everything between two
        photos of printed slips in the order of capture.
    facts_file : Path, optional
        List of pieces; ``pieces.csv`` in the folder by default, if it is there.
    view_order : sequence of str
        Views of the photos whose names do not tell, in the order of capture.

    Returns
    -------
    Batch

    Raises
    ------
    BatchError
        The folder is missing, no folder, or holds no photos.
    FactsError
        The list of pieces cannot be understood.
    """
    _check_folder(folder)
    facts = _facts(folder, facts_file)
    problems: list[Problem] = []
    charts: list[Path] = []
    groups = _sub_folders(folder, problems, charts)
    for code, photos in _loose(folder, groups, facts, problems, charts).items():
        groups.setdefault(code, []).extend(photos)
    if not groups and not problems:
        raise BatchError(
            "there are no photos in this folder",
            where=str(folder),
            remedy=(
                "Put the photos of each piece into a sub-folder named after the piece, or begin "
                "their names with its code"
            ),
        )
    if not groups:
        raise BatchError(problems[0].text.rstrip("."), where=str(folder))
    pieces = _join(groups, facts, view_order, problems)
    return Batch(folder, tuple(pieces), tuple(problems), tuple(charts))


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts ``K2`` before ``K10``, whatever the case."""
    parts = re.findall(r"\d+|\D+", text.casefold())
    return tuple((0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts)


def _check_folder(folder: Path) -> None:
    if not folder.exists():
        raise BatchError(
            "there is no such folder", where=str(folder), remedy="Check the name of the folder"
        )
    if not folder.is_dir():
        raise BatchError(
            "this is a file, not a folder",
            where=str(folder),
            remedy="Name the folder that holds the photos",
        )
    try:
        next(folder.iterdir(), None)
    except OSError as error:
        raise BatchError(
            "the folder may not be read", where=str(folder), remedy="Allow reading it"
        ) from error


def _facts(folder: Path, facts_file: Path | None) -> dict[str, PieceFacts] | None:
    if facts_file is not None:
        return read_facts(facts_file)
    found = [p for p in folder.iterdir() if p.name.casefold() == FACTS_NAME and p.is_file()]
    return read_facts(found[0]) if found else None


# --- which photo shows which piece ---------------------------------------------------------


def _sub_folders(
    folder: Path, problems: list[Problem], charts: list[Path]
) -> dict[str, list[_Found]]:
    groups: dict[str, list[_Found]] = {}
    for sub in sorted((p for p in folder.iterdir() if p.is_dir()), key=lambda p: p.name):
        if sub.name.startswith(".") or sub.name.casefold() in _NOT_A_PIECE:
            continue
        if (sub / _RESULTS).exists():
            continue
        if _CHART_NAME.match(sub.name):
            charts += list_photos(sub, f"{sub.name}/", problems)
            continue
        photos = [
            _Found(f"{sub.name}/{path.name}", path, path.stem, read_capture_time(path))
            for path in list_photos(sub, f"{sub.name}/", problems)
        ]
        if photos:
            groups[sub.name.strip()] = photos
        if any(p.is_dir() and _holds_photos(p) for p in sub.iterdir()):
            text = (
                f"The folders inside {sub.name} were not looked into: put the photos of a piece "
                "straight into its folder."
            )
            problems.append(Problem("nested_folder", text))
    return groups


def _holds_photos(folder: Path) -> bool:
    if folder.name.startswith(".") or folder.name.casefold() in _NOT_A_PIECE:
        return False
    return any(p.suffix.lower() in PHOTO_SUFFIXES for p in folder.iterdir())


def list_photos(folder: Path, prefix: str, problems: list[Problem]) -> list[Path]:
    """Return the photos of one folder, and report what looks like one but is not read."""
    chosen: dict[str, Path] = {}
    for path in sorted(folder.iterdir(), key=lambda p: natural_key(p.name)):
        suffix = path.suffix.lower()
        if path.name.startswith(".") or _NOT_A_PHOTO.search(path.stem) or not path.is_file():
            continue
        if suffix in _RAW_SUFFIXES:
            text = f"{prefix}{path.name} is a raw camera file: export it as JPEG to have it read."
            problems.append(Problem("raw_file", text))
        if suffix not in PHOTO_SUFFIXES:
            continue
        first = chosen.get(path.stem)
        if first is None:
            chosen[path.stem] = path
            continue
        # Phones and transfers leave the same shot as HEIC and as JPEG; counting it twice would
        # count its faults twice.
        keep, drop = sorted((first, path), key=lambda p: p.suffix.lower() not in {".jpg", ".jpeg"})
        chosen[path.stem] = keep
        text = f"{prefix}{drop.name} was left out: {keep.name} beside it has the same name."
        problems.append(Problem("same_photo_twice", text))
    return list(chosen.values())


def _loose(
    folder: Path,
    groups: Mapping[str, list[_Found]],
    facts: Mapping[str, PieceFacts] | None,
    problems: list[Problem],
    charts: list[Path],
) -> dict[str, list[_Found]]:
    """Group the photos that lie in no sub-folder."""
    files = list_photos(folder, "", problems)
    known = [*(facts or {}), *groups]
    by_name: dict[str, list[Path]] = {}
    from_camera: list[Path] = []
    unclear: list[Path] = []
    for path in files:
        stem = _plain(path.stem)
        code = _known_code(stem, known)
        if code is None and _CHART_NAME.match(path.stem):
            charts.append(path)
            continue
        if code is None and _CAMERA_NAME.match(path.stem):
            from_camera.append(path)
            continue
        if code is None:
            match = _CODE_AND_VIEW.match(stem) or _CODE_AND_COUNT.match(stem)
            code = match["code"].strip(" -_.") if match else None
        if code is None and _VIEW_ALONE.match(stem):
            # The folder itself is the piece.
            code = folder.resolve().name or "piece"
        if code is None:
            unclear.append(path)
        else:
            by_name.setdefault(_same_code(code, [*known, *by_name]), []).append(path)
    for path in unclear:
        # `K07_detail` belongs to K07 where other photos speak of a K07.
        stem = _plain(path.stem)
        code = _known_code(stem, list(by_name)) or stem
        by_name.setdefault(_same_code(code, [*known, *by_name]), []).append(path)
    result = {code: [_named(path, code) for path in paths] for code, paths in by_name.items()}
    for code, photos in _between_slips(from_camera, known, problems, charts).items():
        result.setdefault(code, []).extend(photos)
    return result


def _plain(stem: str) -> str:
    """Write `K07 (2)` as `K07 2`."""
    return re.sub(r"\s*\(\s*(\w+)\s*\)", r" \1", stem).strip()


def _known_code(stem: str, codes: Iterable[str]) -> str | None:
    """Return the longest known code that the name is, or begins with before a separator."""
    low = stem.casefold()
    fitting = [
        code
        for code in codes
        if low == code.casefold()
        or re.match(rf"{re.escape(code.casefold())}(?:{_SEPARATOR}|(?={_VIEW.pattern}))", low)
    ]
    return max(fitting, key=len, default=None)


def _same_code(code: str, codes: Iterable[str]) -> str:
    """Return the code as it was written first: `k07` and `K07` are one piece."""
    return next((other for other in codes if other.casefold() == code.casefold()), code)


def _named(path: Path, code: str) -> _Found:
    stem = _plain(path.stem)
    rest = stem[len(code) :] if stem.casefold().startswith(code.casefold()) else stem
    return _Found(path.name, path, rest, read_capture_time(path))


def _between_slips(
    paths: list[Path], known: Sequence[str], problems: list[Problem], charts: list[Path]
) -> dict[str, list[_Found]]:
    """Give each photo to the piece whose slip was photographed last before it."""
    photos = [_Found(path.name, path, "", read_capture_time(path)) for path in paths]
    groups: dict[str, list[_Found]] = {}
    slips: dict[str, list[_Found]] = {}
    before: list[_Found] = []
    code = ""
    for photo in _in_order(photos):
        read = read_slip_code(photo.path)
        if read is not None:
            code = _same_code(read, [*known, *slips])
            slips.setdefault(code, []).append(photo)
            groups.setdefault(code, [])
        elif code:
            groups[code].append(photo)
        else:
            before.append(photo)
    for code, shown in slips.items():
        # The slip was left standing in every picture: then these are the photos of the piece.
        if not groups[code] and len(shown) > 1:
            groups[code] = shown
        elif not groups[code]:
            text = f"After the slip of {code} ({shown[0].name}) there is no photo of the piece."
            problems.append(Problem("no_photos", text, blocks=True))
            del groups[code]
    if slips:
        # The chart is often photographed before anything else.
        shown = [photo for photo in before if shows_chart(photo.path)]
        charts += [photo.path for photo in shown]
        before = [photo for photo in before if photo not in shown]
    if before:
        problems.append(_nameless(before, bool(slips)))
    return groups


def _nameless(photos: list[_Found], some_slips: bool) -> Problem:
    names = _listed([photo.name for photo in photos])
    many = len(photos) > 1
    if some_slips:
        text = (
            f"{names} {'were' if many else 'was'} taken before the first slip, so nobody can tell "
            f"which piece {'they show' if many else 'it shows'}: photograph the slip first, or "
            "rename the files."
        )
    else:
        text = (
            f"{names} {'have names' if many else 'has a name'} from the camera, and no photo of a "
            "slip says which piece they show: photograph a printed slip before each piece "
            "(`grader slips` prints them), or put the photos of each piece into a folder."
        )
    return Problem("unknown_piece", text, blocks=True)


def _listed(names: list[str], most: int = 3) -> str:
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more photos"


# --- which side ----------------------------------------------------------------------------


def _in_order(photos: list[_Found]) -> list[_Found]:
    """Sort by capture time where all have one, else by name."""
    by_name = sorted(photos, key=lambda photo: natural_key(photo.name))
    if all(photo.captured_at is not None for photo in photos):
        return sorted(by_name, key=lambda photo: photo.captured_at or datetime.min)
    return by_name


def _shots(photos: list[_Found], view_order: Sequence[View]) -> tuple[Shot, ...]:
    named: list[Shot] = []
    nameless: list[_Found] = []
    for photo in _in_order(photos):
        words = _VIEW.findall(photo.rest)
        if words:
            # The last word counts: `left-handed-jug_back` shows the back.
            view = _VIEW_WORDS[words[-1].casefold()]
            named.append(Shot(photo.name, photo.path, view, photo.captured_at))
        else:
            nameless.append(photo)
    taken = {shot.view for shot in named}
    free = [view for view in view_order if view not in taken]
    for count, photo in enumerate(nameless):
        view = free[count] if count < len(free) else f"view {len(named) + 1}"
        named.append(Shot(photo.name, photo.path, view, photo.captured_at))
    rank = {view: place for place, view in enumerate(dict.fromkeys((*view_order, "top")))}
    return tuple(sorted(named, key=lambda s: (rank.get(s.view, len(rank)), natural_key(s.view))))


# --- what is known -------------------------------------------------------------------------


def _join(
    groups: Mapping[str, list[_Found]],
    facts: Mapping[str, PieceFacts] | None,
    view_order: Sequence[View],
    problems: list[Problem],
) -> list[PieceEntry]:
    rows = {code.casefold(): row for code, row in (facts or {}).items()}
    photographed = {code.casefold() for code in groups}
    entries = []
    for code in sorted(groups, key=natural_key):
        row = rows.get(code.casefold())
        if row is None and facts is not None:
            missing = [c for c in facts if c.casefold() not in photographed]
            text = f"{code} is not in the list of pieces, so only its photos speak for it."
            problems.append(Problem("not_listed", text + _perhaps(code, missing)))
        known = PieceFacts(piece=code) if row is None else replace(row, piece=code)
        entries.append(PieceEntry(code, known, _shots(groups[code], view_order)))
    for code, row in (facts or {}).items():
        if code.casefold() not in photographed:
            unlisted = [c for c in groups if c.casefold() not in rows]
            text = f"{code} is in the list of pieces but has no photos."
            problems.append(Problem("no_photos", text + _perhaps(code, unlisted), blocks=True))
            entries.append(PieceEntry(code, row, ()))
    return sorted(entries, key=lambda entry: natural_key(entry.code))


def _perhaps(code: str, others: Sequence[str]) -> str:
    close = difflib.get_close_matches(code, others, n=1)
    return f" Is it {close[0]}?" if close else ""
