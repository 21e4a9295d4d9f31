"""The tables of the index, as SQL and nothing else.

Names of files are kept as the bytes that the operating system has; a path is made of a
folder's, a file's and, in an archive, a member's.
"""

from __future__ import annotations

import re

APPLICATION_ID = 0x4C474C53
"""Marks our file among SQLite's."""
SCHEMA_VERSION = 3
"""Another one and the index is made anew: it holds nothing that cannot be read again."""

TABLES = """
CREATE TABLE folders (
    id INTEGER PRIMARY KEY,
    path BLOB NOT NULL UNIQUE
);
-- A zip archive whose members have all been read; one that differs is listed again.
CREATE TABLE archives (
    folder_id INTEGER NOT NULL REFERENCES folders ON DELETE CASCADE,
    name BLOB NOT NULL,
    size_bytes INTEGER NOT NULL,
    mtime_ns INTEGER NOT NULL,
    passed_over INTEGER NOT NULL,
    PRIMARY KEY (folder_id, name)
) WITHOUT ROWID;
CREATE TABLE images (
    id INTEGER PRIMARY KEY,
    folder_id INTEGER NOT NULL REFERENCES folders ON DELETE CASCADE,
    name BLOB NOT NULL,
    member BLOB NOT NULL,       -- empty: the file itself is the image
    size_bytes INTEGER NOT NULL, -- of the file on disk
    mtime_ns INTEGER NOT NULL,  -- of the file on disk; -1: read it again, whatever it says
    audit_version INTEGER NOT NULL,
    gone INTEGER NOT NULL,
    file_name TEXT NOT NULL,    -- harmless for a terminal
    title TEXT NOT NULL,
    verdict INTEGER NOT NULL,   -- place in VERDICTS
    why TEXT NOT NULL,          -- it is unreadable, or has nothing to load
    kind TEXT NOT NULL,
    tracks INTEGER NOT NULL,
    files INTEGER NOT NULL,
    programs INTEGER NOT NULL,  -- that load whole
    blocks INTEGER NOT NULL,
    free INTEGER NOT NULL,
    findings TEXT NOT NULL,     -- codes, each between spaces
    sha256 BLOB,                -- of the sectors
    name_key TEXT NOT NULL,     -- what file names of one title's disks have in common
    title_key TEXT NOT NULL,    -- what their disk titles have in common
    UNIQUE (folder_id, name, member)
);
CREATE INDEX images_by_content ON images (sha256, gone);
CREATE INDEX images_by_title ON images (title COLLATE NOCASE, file_name COLLATE NOCASE);
CREATE INDEX images_by_name_key ON images (folder_id, name_key);
CREATE INDEX images_by_title_key ON images (folder_id, title_key) WHERE title_key <> '';
CREATE INDEX images_gone ON images (id) WHERE gone;
-- Where the files of an image lie: clocks it on any rig without opening it.
CREATE TABLE places (
    image_id INTEGER PRIMARY KEY REFERENCES images ON DELETE CASCADE,
    packed BLOB NOT NULL
);
-- Entries that stand for something to load.
CREATE TABLE entries (
    image_id INTEGER NOT NULL REFERENCES images ON DELETE CASCADE,
    slot INTEGER NOT NULL,
    name BLOB NOT NULL,
    kind TEXT NOT NULL,
    load_address INTEGER,
    whole INTEGER NOT NULL,
    size_bytes INTEGER NOT NULL, -- that can be read
    digest BLOB,                -- of these bytes
    PRIMARY KEY (image_id, slot)
) WITHOUT ROWID;
CREATE INDEX entries_by_content ON entries (digest) WHERE whole;
CREATE TABLE rigs (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    fingerprint TEXT NOT NULL   -- of the figures that the times are of; empty: not all done
);
CREATE TABLE times (
    rig_id INTEGER NOT NULL REFERENCES rigs ON DELETE CASCADE,
    image_id INTEGER NOT NULL REFERENCES images,
    start_s REAL,
    all_s REAL,
    files_s BLOB NOT NULL,      -- float32 of each file in `places`
    PRIMARY KEY (rig_id, image_id)
) WITHOUT ROWID;
CREATE TABLE roots (
    path BLOB PRIMARY KEY
) WITHOUT ROWID;
"""

TEXTS = """
CREATE VIRTUAL TABLE texts USING fts5 (
    title, names, file, tokenize = 'unicode61 remove_diacritics 2', prefix = '1 2'
)
"""
"""The words of each image, by its id."""
PLAIN_TEXTS = "CREATE TABLE texts (title TEXT, names TEXT, file TEXT)"
"""Where this Python's SQLite has no full-text search."""
TABLE_NAMES = (*re.findall(r"CREATE TABLE (\w+)", TABLES), "texts")
