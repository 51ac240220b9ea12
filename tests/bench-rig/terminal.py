#!/usr/bin/env python3
"""Puts standard input and output behind a pseudo-terminal, so that a program can open the virtual sensor as a port.

    terminal.py LINK     LINK becomes a symbolic link to the terminal; it goes away with this program

What the program does not read waits: standard input is then not read either, and the sensor's end notices.
"""

import os
import select
import signal
import sys
import tty


def main(link: str) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)  # held open, so that the master does not hang up between two programs
    os.set_blocking(master, False)
    if os.path.islink(link):
        os.unlink(link)
    os.symlink(os.ttyname(slave), link)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    try:
        relay(master)
    finally:
        os.unlink(link)


def relay(master: int) -> None:
    waiting = b""
    while True:
        readable, writable, _ = select.select([master] if waiting else [0, master], [master] if waiting else [], [])
        if 0 in readable:
            waiting = os.read(0, 65536)
            if not waiting:
                return
        if waiting and (writable or 0 in readable):
            try:
                waiting = waiting[os.write(master, waiting) :]
            except BlockingIOError:
                pass
        if master in readable:
            os.write(1, os.read(master, 65536))


if __name__ == "__main__":
    main(sys.argv[1])
