"""Machine code for the samples, assembled by hand.

Each function gives a run of code that can stand anywhere in memory (branches only) and ends where
the next one may begin; a routine is several runs and END. In a listing the bytes come first, then
two spaces and what they mean. Zero page: 02 a count, FB-FC where to read, FD-FE where to write.
"""

from formats.programs import BASIC_START, tokenise

SCREEN = 0x0400
PICTURE = 0x2000
STUB = "10 SYS 2064"
STUB_CODE = 2064
"""Where the code behind STUB starts: the next address that is easy to read in hexadecimal."""
END = b"\x60"  # RTS

SCREEN_BYTES = 1000


def assembled(listing: str) -> bytes:
    """The bytes of a listing."""
    lines = (line.strip() for line in listing.splitlines())
    return b"".join(bytes.fromhex(line.split("  ")[0]) for line in lines)


def behind_stub(code: bytes) -> bytes:
    """A program that loads where BASIC starts: one line of BASIC, and the code that it calls."""
    stub = tokenise([STUB])
    return stub.ljust(2 + STUB_CODE - BASIC_START, b"\0") + code


def point_at(address: int) -> bytes:
    """Read from here."""
    low, high = address.to_bytes(2, "little")
    return assembled(
        f"""
        A9 {low:02X}  LDA #
        85 FB  STA FB
        A9 {high:02X}  LDA #
        85 FC  STA FC
        """
    )


def wait(jiffies: int) -> bytes:
    """Wait 1 to 255 jiffies, sixtieths of a second, by the clock at A2."""
    return assembled(f"A2 {jiffies:02X}  LDX #") + _WAIT_X


_WAIT_X = assembled(
    """
    A5 A2  LDA A2     each jiffy
    C5 A2  CMP A2       until the clock ticks
    F0 FC  BEQ
    CA     DEX
    D0 F7  BNE          the next jiffy
    """
)

_COLOUR_ALL = assembled(
    """
    A2 00     LDX #
    9D 00 D8  STA D800,X  a cell in each quarter
    9D 00 D9  STA D900,X
    9D 00 DA  STA DA00,X
    9D E8 DA  STA DAE8,X  to DBE7, the last cell
    E8        INX
    D0 F1     BNE           the next cell
    """
)


def colour_all(colour: int) -> bytes:
    """Give every character on the screen a colour, 0 to 15."""
    return assembled(f"A9 {colour:02X}  LDA #") + _COLOUR_ALL


def sunset(jiffies: int, last_colour: int) -> bytes:
    """Wash the whole screen in each colour from 15 down to 0, then in the last one."""
    body = assembled("A5 FB  LDA FB") + _COLOUR_ALL + wait(jiffies)
    back = -(len(body) + 4) & 0xFF
    return (
        assembled(
            """
            A9 0F  LDA #
            85 FB  STA FB
            """
        )
        + body
        + assembled(
            f"""
            C6 FB  DEC FB
            10 {back:02X}  BPL    the next colour
            """
        )
        + colour_all(last_colour)
    )


def play(first_screen: int, screens: int, stride: int, jiffies: int) -> bytes:
    """Show 1 to 255 screens of characters one after the other, each for some jiffies.

    stride: bytes from one screen's start to the next one's, 1000 to 1255.
    """
    screen = (
        assembled(
            """
            A9 00  LDA #
            85 FD  STA FD
            A9 04  LDA #
            85 FE  STA FE
            A2 04  LDX #         four quarters of 250 characters
            A0 00  LDY #
            B1 FB  LDA (FB),Y      each character
            91 FD  STA (FD),Y
            C8     INY
            C0 FA  CPY #
            D0 F7  BNE             the next character
            18     CLC
            A5 FB  LDA FB
            69 FA  ADC #
            85 FB  STA FB
            90 02  BCC
            E6 FC  INC FC
            18     CLC
            A5 FD  LDA FD
            69 FA  ADC #
            85 FD  STA FD
            90 02  BCC
            E6 FE  INC FE
            CA     DEX
            D0 DC  BNE           the next quarter
            """
        )
        + assembled(
            f"""
            18     CLC
            A5 FB  LDA FB
            69 {stride - SCREEN_BYTES:02X}  ADC #         what lies between the screens
            85 FB  STA FB
            90 02  BCC
            E6 FC  INC FC
            """
        )
        + wait(jiffies)
    )
    back = -(len(screen) + 4) & 0xFF
    return (
        point_at(first_screen)
        + assembled(
            f"""
            A9 {screens:02X}  LDA #
            85 02  STA 02
            """
        )
        + screen
        + assembled(
            f"""
            C6 02  DEC 02
            D0 {back:02X}  BNE    the next screen
            """
        )
    )


SHOW_PICTURE = assembled(
    """
    A2 00     LDX #
    BD 40 3F  LDA 3F40,X  colours, a byte in each quarter
    9D 00 04  STA 0400,X
    BD 40 40  LDA 4040,X
    9D 00 05  STA 0500,X
    BD 40 41  LDA 4140,X
    9D 00 06  STA 0600,X
    BD 28 42  LDA 4228,X
    9D E8 06  STA 06E8,X
    E8        INX
    D0 E5     BNE           the next byte
    A9 3B     LDA #
    8D 11 D0  STA D011    bit-map mode
    A9 18     LDA #
    8D 18 D0  STA D018    colours from 0400, the bit map from 2000
    """
)
"""Show the picture at 2000: 8000 bytes of bit map, then 1000 of colours."""


def melody(notes: int) -> bytes:
    """Play the notes at an address: each low and high byte of its pitch and jiffies; 0 ends."""
    return point_at(notes) + assembled(
        """
        A9 0F     LDA #
        8D 18 D4  STA D418    loud
        A9 09     LDA #
        8D 05 D4  STA D405    attack and decay
        A9 F0     LDA #
        8D 06 D4  STA D406    sustain and release
        A0 02     LDY #       each note
        B1 FB     LDA (FB),Y
        F0 2E     BEQ           none is left
        AA        TAX
        88        DEY
        B1 FB     LDA (FB),Y
        8D 01 D4  STA D401
        88        DEY
        B1 FB     LDA (FB),Y
        8D 00 D4  STA D400
        A9 11     LDA #
        8D 04 D4  STA D404      a triangle sounds
        A5 A2     LDA A2        each jiffy
        C5 A2     CMP A2          until the clock ticks
        F0 FC     BEQ
        CA        DEX
        D0 F7     BNE             the next jiffy
        A9 10     LDA #
        8D 04 D4  STA D404      and fades
        18        CLC
        A5 FB     LDA FB
        69 03     ADC #
        85 FB     STA FB
        90 02     BCC
        E6 FC     INC FC
        B8        CLV
        50 CC     BVC           the next note
        A9 00     LDA #
        8D 18 D4  STA D418    silence
        """
    )


def _sum_to(low: str, high: str) -> bytes:
    """Sum the bytes from (FB) up to, without, an end into FD-FE.

    The end's two bytes are each given by an instruction that compares A with it.
    """
    return assembled(
        f"""
        A9 00  LDA #
        85 FD  STA FD
        85 FE  STA FE
        A8     TAY
        A5 FB  LDA FB        each byte
        {low}
        D0 06  BNE
        A5 FC  LDA FC
        {high}
        F0 14  BEQ             none is left
        18     CLC
        B1 FB  LDA (FB),Y
        65 FD  ADC FD
        85 FD  STA FD
        90 02  BCC
        E6 FE  INC FE
        E6 FB  INC FB
        D0 02  BNE
        E6 FC  INC FC
        B8     CLV
        50 E0  BVC             the next byte
        """
    )


CHECKSUM = _sum_to("C5 AE  CMP AE", "C5 AF  CMP AF") + END
"""Sum what was just loaded into FD-FE: from (FB) to where the load stopped, which AE-AF holds."""

BASIC_OUT = assembled(
    """
    A9 36  LDA #
    85 01  STA 01     RAM in place of the BASIC ROM at A000
    """
)
BASIC_IN = assembled(
    """
    A9 37  LDA #
    85 01  STA 01
    """
)


def check_itself(first: int, end: int, expected: int) -> bytes:
    """Sum memory from an address up to another: the border turns green if it is right, else red.

    first, end: the end must not lie under I/O. expected: the sum's low 16 bits.
    """
    low, high = end.to_bytes(2, "little")
    sum_low, sum_high = expected.to_bytes(2, "little")
    return (
        BASIC_OUT
        + point_at(first)
        + _sum_to(f"C9 {low:02X}  CMP #", f"C9 {high:02X}  CMP #")
        + BASIC_IN
        + assembled(
            f"""
            A2 02  LDX #         red
            A5 FD  LDA FD
            C9 {sum_low:02X}  CMP #
            D0 08  BNE
            A5 FE  LDA FE
            C9 {sum_high:02X}  CMP #
            D0 02  BNE
            A2 05  LDX #         green
            8E 20 D0  STX D020
            """
        )
        + END
    )
