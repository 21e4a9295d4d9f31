"""Images of the club's collection, as small as may be."""

from formats.compose import NewFile, compose


def program(name: str, content: bytes, load_address: int = 0x0801) -> NewFile:
    return NewFile(name.encode("ascii"), load_address.to_bytes(2, "little") + content)


def image(title: str, *files: NewFile) -> bytes:
    return compose(title.encode("ascii"), files or (program("HAFENLICHT", b"LICHT" * 300),))
