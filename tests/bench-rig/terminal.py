#!/usr/bin/env python3
"""Puts standard input and output behind a pseudo-terminal, so that a program can open the virtual sensor as a port.

    terminal.py LINK     LINK becomes a symbolic link to the terminal; it goes away with this program

Bytes while no program has the port open are dropped, as on a line that nobody listens to.
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
    while True:
        readable, _, _ = select.select([0, master], [], [])
        if 0 in readable:
            from_sensor = os.read(0, 65536)
            if not from_sensor:
                return
            try:
                os.write(master, from_sensor)
            except BlockingIOError:
                pass  # the terminal is full: nobody reads
        if master in readable:
            os.write(1, os.read(master, 65536))


if __name__ == "__main__":
    main(sys.argv[1])
