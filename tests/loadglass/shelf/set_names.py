"""Made-up names of images, and which of them are disks of one title.

Written before the grouping was, in the ways in which collectors name their images. Each folder
has lines of: set (- for none) | file name | disk title. The folder "later" was written when the
grouping was done: on it alone precision was 0.90 and recall 0.64 at first. Since then numbers
like 01 and the roman one count as marks, and lessons as a series.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import combinations
from typing import NamedTuple

from loadglass.shelf.sets import Disk, DiskSet

FOLDERS = {
    "words": """
        a | hafenlicht disk 1.d64 | HAFENLICHT 1
        a | hafenlicht disk 2.d64 | HAFENLICHT 2
        b | Leuchtfeuer (Disk 1 of 3).d64 | LEUCHTFEUER
        b | Leuchtfeuer (Disk 2 of 3).d64 | FEUER DATEN
        b | Leuchtfeuer (Disk 3 of 3).d64 | FEUER DATEN 2
        c | Ebbe_und_Flut_side_a.d64 | EBBE & FLUT
        c | Ebbe_und_Flut_side_b.d64 |
        d | LOTSE-DISK1.D64 | LOTSE
        d | LOTSE-DISK2.D64 | LOTSE
        e | Kranfuehrer Seite 1.d64 | KRAN
        e | Kranfuehrer Seite 2.d64 | KRAN
        f | Nebelhorn Teil 1.d64 | NEBELHORN I
        f | Nebelhorn Teil 2.d64 | NEBELHORN II
        g | moewenjagd.disk.one.d64 | MOEWEN
        g | moewenjagd.disk.two.d64 | MOEWEN
        h | Deichgraf d1.d64 | DEICHGRAF
        h | Deichgraf d2.d64 | DEICHGRAF
        i | Sturmflut 1of2.d64 | STURMFLUT
        i | Sturmflut 2of2.d64 | STURMFLUT
        j | Reederei (Disk 1 Side A).d64 | REEDEREI
        j | Reederei (Disk 1 Side B).d64 | REEDEREI
        j | Reederei (Disk 2 Side A).d64 | REEDEREI
        - | Diskettenkurs.d64 | KURS
        - | Diskmonitor 3.d64 | MONITOR
        - | Seitenwind.d64 | SEITENWIND
        - | Sidecar.d64 | SIDECAR
        - | Partitur.d64 | NOTEN
    """,
    "bare": """
        a | ankerwinde a.d64 | ANKERWINDE
        a | ankerwinde b.d64 | ANKERWINDE
        b | pegelstand-1.d64 | PEGELSTAND
        b | pegelstand-2.d64 | PEGELSTAND
        c | kielholena.d64 | KIELHOLEN/A
        c | kielholenb.d64 | KIELHOLEN/B
        d | wattwurm1.d64 | WATTWURM
        d | wattwurm2.d64 | WATTWURM
        e | seebaer.d64 | SEEBAER
        e | seebaer side 2.d64 |
        f | tidenkalender_1a.d64 | TIDEN
        f | tidenkalender_1b.d64 | TIDEN
        f | tidenkalender_2a.d64 | TIDEN
        - | Seeraeuber 1.d64 | SEERAEUBER
        - | Seeraeuber 2.d64 | DIE RUECKKEHR
        - | Bojenspiel.d64 | BOJENSPIEL
        - | Bojenspiel 2.d64 | BOJENSPIEL II
        - | Vitamin A.d64 | LIEDER
        - | Vitamin B.d64 | KOCHBUCH
        - | Texter v1.d64 | TEXTER
        - | Texter v2.d64 | TEXTER
        - | Hafenpost 1.d64 | HAFENPOST JUNI
        - | Hafenpost 2.d64 | HAFENPOST JULI
        - | Hafenpost 3.d64 | HAFENPOST AUGUST
        - | Schach 64.d64 | SCHACH
        - | Schach 65.d64 | SCHACH
        - | Regatta 1986.d64 | REGATTA
        - | Regatta 1987.d64 | REGATTA
        - | Plan B.d64 | PLAN B
        - | Level 9.d64 | LEVEL 9
        - | Bilder vol 1.d64 | BILDER
        - | Bilder vol 2.d64 | BILDER
        - | Panda.d64 | PANDA
        - | Pand.d64 | PAND
        - | Backup 1.d64 | SICHERUNG
        - | Backup 2.d64 | SICHERUNG
    """,
    "Windjammer": """
        a | Disk 1.d64 | WINDJAMMER
        a | Disk 2.d64 | WINDJAMMER
        a | Disk 3.d64 | WINDJAMMER
    """,
    "Box": """
        - | Disk 1.d64 | BRIEFE
        - | Disk 2.d64 | GRAFIK
        - | Disk 3.d64 | MUSIK
        - | Disk 4.d64 | PROGRAMME
    """,
    "series": """
        - | clubdisk 1.d64 | CLUB 1
        - | clubdisk 2.d64 | CLUB 2
        - | clubdisk 3.d64 | CLUB 3
        - | Magazin Disk 1.d64 | MAGAZIN 1/86
        - | Magazin Disk 2.d64 | MAGAZIN 2/86
        - | Magazin Disk 3.d64 | MAGAZIN 3/86
        - | Magazin Disk 4.d64 | MAGAZIN 4/86
        - | Magazin Disk 5.d64 | MAGAZIN 5/86
        - | Magazin Disk 6.d64 | MAGAZIN 6/86
        - | Magazin Disk 7.d64 | MAGAZIN 7/86
        - | Magazin Disk 8.d64 | MAGAZIN 8/86
        - | Magazin Disk 9.d64 | MAGAZIN 9/86
        - | Magazin Disk 10.d64 | MAGAZIN 10/86
    """,
    "titles": """
        a | img0007.d64 | KLABAUTER DISK 1
        a | img0008.d64 | KLABAUTER DISK 2
        b | img0031.d64 | FLASCHENPOST S1
        b | img0032.d64 | FLASCHENPOST S2
        c | scan_12.d64 | TREIBGUT SIDE A
        c | scan_15.d64 | TREIBGUT SIDE B
        - | img0040.d64 | WERKZEUG 1
        - | img0041.d64 | WERKZEUG 2
        - | img0050.d64 | SPIELE A
        - | img0077.d64 | SPIELE B
        - | img0090.d64 |
        - | img0091.d64 |
    """,
    "mixed": """
        a | Störtebeker (Grauhaven Soft) (Disk 1).d64 | STOERTEBEKER
        a | Störtebeker (Grauhaven Soft) (Disk 2).d64 | STOERTEBEKER
        - | Störtebeker (Grauhaven Soft) (Disk 1) [neu].d64 | STOERTEBEKER
        b | kombuese - disk a.d64.gz | KOMBUESE
        b | kombuese - disk b.d64.gz | KOMBUESE
        c | takelage_s1.d64 | TAKELAGE
        c | takelage_s2.d64 | TAKELAGE
        d | Logbuch II disk 1.d64 | LOGBUCH II
        d | Logbuch II disk 2.d64 | LOGBUCH II
        - | Logbuch.d64 | LOGBUCH
        e | ruderboot #1.d64 | RUDERBOOT
        e | ruderboot #2.d64 | RUDERBOOT
        f | koje 1 von 2.d64 | KOJE
        f | koje 2 von 2.d64 | KOJE
        g | strandgut disk 2.d64 | STRANDGUT
        g | strandgut disk 3.d64 | STRANDGUT
        h | bullauge - boot.d64 | BULLAUGE
        h | bullauge - data.d64 | BULLAUGE
    """,
    "later": """
        a | AHOI-A.D64 | AHOI
        a | AHOI-B.D64 | AHOI
        b | dreimaster [disk 1].d64 | DREIMASTER
        b | dreimaster [disk 2].d64 | DREIMASTER
        c | Fischmarkt disk1.zip.d64 | FISCHMARKT
        c | Fischmarkt disk2.zip.d64 | FISCHMARKT
        d | galionsfigur, disk iii.d64 | GALION
        d | galionsfigur, disk ii.d64 | GALION
        d | galionsfigur, disk i.d64 | GALION
        e | heuerbuero_p1.d64 | HEUERBUERO
        e | heuerbuero_p2.d64 | HEUERBUERO
        f | inselhopper.1.d64 | INSELHOPPER
        f | inselhopper.2.d64 | INSELHOPPER
        g | jolle_disk_1_side_1.d64 | JOLLE
        g | jolle_disk_1_side_2.d64 | JOLLE
        h | Kutter, Seite A.d64 | KUTTER A
        h | Kutter, Seite B.d64 | KUTTER B
        i | LANDGANG VORDERSEITE.D64 | LANDGANG
        i | LANDGANG RUECKSEITE.D64 | LANDGANG
        j | mastkorb side1.d64 | MASTKORB
        j | mastkorb side2.d64 | MASTKORB
        k | 1 netzflicker.d64 | NETZFLICKER
        k | 2 netzflicker.d64 | NETZFLICKER
        l | oelzeug-disk01.d64 | OELZEUG
        l | oelzeug-disk02.d64 | OELZEUG
        - | planken 1.d64 | PLANKEN
        - | planken 3.d64 | PLANKEN
        - | quallen i.d64 | QUALLEN
        - | quallen ii.d64 | QUALLEN 2
        - | demo a.d64 | RAKETEN
        - | demo b.d64 | STERNE
        - | demo c.d64 | WELLEN
        - | utilities 1.d64 | KOPIERER
        - | utilities 2.d64 | PACKER
        - | zeichensatz1.d64 | ZEICHEN
        - | zeichensatz9.d64 | ZEICHEN
        - | leer1.d64 |
        - | leer2.d64 |
        - | spiel a.d64 |
        - | spiel c.d64 |
        - | kurs lektion 1.d64 | KURS
        - | kurs lektion 2.d64 | KURS
        - | musik disk.d64 | MUSIK
        - | musik.d64 | MUSIK
    """,
}


class Score(NamedTuple):
    """Of the pairs that were grouped how many belong together, and the other way about."""

    names: int
    sets: int
    precision: float
    recall: float
    wrongly_together: list[str]
    wrongly_apart: list[str]


def labelled() -> Iterator[tuple[str, Disk]]:
    """The set of each disk ("" for none), and the disk."""
    number = 0
    for folder, lines in FOLDERS.items():
        for line in lines.strip().splitlines():
            label, file_name, title = (part.strip() for part in line.split("|"))
            number += 1
            belongs = "" if label == "-" else f"{folder}/{label}"
            yield belongs, Disk(number, f"/club/{folder}", file_name, title, f"{number:064x}")


def score(found_sets: Iterable[DiskSet]) -> Score:
    """How good a grouping of all the labelled disks is."""
    belonging: dict[str, list[int]] = defaultdict(list)
    names = {}
    for label, disk in labelled():
        names[disk.id] = f"{disk.file_name} ({disk.title})"
        if label:
            belonging[label].append(disk.id)
    true = _pairs(belonging.values())
    found = _pairs([disk.id for disk in each.disks] for each in found_sets)

    def shown(pairs: set[tuple[int, ...]]) -> list[str]:
        return [" + ".join(names[i] for i in pair) for pair in sorted(pairs)]

    return Score(
        len(names),
        len(belonging),
        len(true & found) / len(found),
        len(true & found) / len(true),
        shown(found - true),
        shown(true - found),
    )


def _pairs(groups: Iterable[list[int]]) -> set[tuple[int, ...]]:
    return {pair for each in groups for pair in combinations(sorted(each), 2)}
