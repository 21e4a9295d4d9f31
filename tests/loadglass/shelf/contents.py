"""All that an index holds, in a form that can be compared: no ids, no order of arrival."""

from __future__ import annotations

from typing import Any

from loadglass.shelf.index import Index
from loadglass.shelf.record import ImageColumns


def contents(index: Index) -> dict[str, list[tuple[Any, ...]]]:
    """Rows by table, each with the place of its image in front. Asserts that the file is sound."""
    columns = ", ".join(ImageColumns._fields)
    place = "folders.path, images.name, member"
    of_image = "JOIN images ON images.id = image_id JOIN folders ON folders.id = folder_id"
    queries = {
        "images": f"SELECT {place}, gone, {columns} FROM images "
        "JOIN folders ON folders.id = folder_id",
        "places": f"SELECT {place}, packed FROM places {of_image}",
        "entries": f"SELECT {place}, slot, entries.name, entries.kind, whole, "
        f"entries.size_bytes, digest FROM entries {of_image}",
        "times": f"SELECT {place}, rigs.name, round(start_s, 6), round(all_s, 6) "
        f"FROM times JOIN rigs ON rigs.id = rig_id {of_image}",
        "texts": f"SELECT {place}, texts.title, texts.names, texts.file FROM texts "
        "JOIN images ON images.id = texts.rowid JOIN folders ON folders.id = folder_id",
        "archives": "SELECT path, name, size_bytes, mtime_ns, passed_over FROM archives "
        "JOIN folders ON folders.id = folder_id",
    }
    with index.connected() as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        if index.full_text:
            connection.execute("INSERT INTO texts (texts) VALUES ('integrity-check')")
        return {
            table: sorted(connection.execute(sql).fetchall(), key=repr)
            for table, sql in queries.items()
        }
