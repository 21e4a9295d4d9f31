def run() -> int:
    return 0
