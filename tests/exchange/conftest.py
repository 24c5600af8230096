"""What the tests of files share: a small table of crops, and files written in a line."""

import io

import openpyxl
import pytest

from sowbench.science.errors import InputFileError, UnknownNameError

CROPS = {"lettuce": "lettuce", "salad": "lettuce", "kale": "kale", "basil": "basil"}


@pytest.fixture
def resolve_crop():
    def resolve(text):
        crop = CROPS.get(text.strip().casefold())
        if crop is None:
            raise UnknownNameError.among(text, "crop", CROPS)
        return crop

    return resolve


@pytest.fixture
def crop_unit():
    return {"lettuce": "plant", "kale": "plant", "basil": "cell"}.__getitem__


@pytest.fixture
def write(tmp_path):
    """Write a text, or bytes, to a file of the test's folder and return its path."""

    def write_file(name, content):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    return write_file


@pytest.fixture
def workbook():
    """Return the bytes of a workbook with rows on its first sheet, or on sheets by name."""

    def make(rows):
        book = openpyxl.Workbook()
        sheets = rows if isinstance(rows, dict) else {"Sheet": rows}
        assert book.active is not None
        book.remove(book.active)
        for name, lines in sheets.items():
            sheet = book.create_sheet(name)
            for line in lines:
                sheet.append(line)
        stream = io.BytesIO()
        book.save(stream)
        return stream.getvalue()

    return make


@pytest.fixture
def problems_of():
    """Return the problems that a reader reports, as (row, column, value, message)."""

    def collect(read, *args, **kwargs):
        with pytest.raises(InputFileError) as caught:
            read(*args, **kwargs)
        return [(each.row, each.column, each.value, each.message) for each in caught.value.problems]

    return collect
