"""Runs a command under the system calls that a unit of systemd leaves it, as systemd would.

The sets (@system-service and the like) are those of the systemd at hand, asked by `systemd-analyze syscall-filter`; the
kernel enforces them by seccomp. MemoryDenyWriteExecute= and RestrictAddressFamilies= are taken over in the form that
systemd gives them: no memory that is written and run, none that becomes runnable later, sockets of the families named.

    confined.py UNIT COMMAND [ARGUMENT ...]
"""

import errno
import os
import socket
import subprocess
import sys

import seccomp

PROT_WRITE, PROT_EXEC, SHM_EXEC = 2, 4, 0o100000
# By MemoryDenyWriteExecute=: call, its argument, and the bits of it that are refused together.
NEVER_RUN = {
    "mmap": (2, [PROT_WRITE, PROT_EXEC]),
    "mprotect": (2, [PROT_EXEC]),
    "pkey_mprotect": (2, [PROT_EXEC]),
    "shmat": (2, [SHM_EXEC]),
}


def settings(unit, name):
    with open(unit, encoding="utf-8") as lines:
        return [line.split("=", 1)[1].strip() for line in lines if line.startswith(f"{name}=")]


def calls(name):
    """The system calls of a set, or the one of that name."""
    if not name.startswith("@"):
        return {name}
    text = subprocess.run(["systemd-analyze", "syscall-filter", name], check=True, capture_output=True, text=True).stdout
    members = [line.strip() for line in text.splitlines() if line.startswith(" ")]
    return set().union(*(calls(member) for member in members if not member.startswith("#")))


def permitted(unit):
    """A list that begins without ~ permits its calls; later ones with ~ take from it again."""
    permitted = set()
    for value in settings(unit, "SystemCallFilter"):
        names = set().union(*(calls(name) for name in value.removeprefix("~").split()))
        permitted = permitted - names if value.startswith("~") else permitted | names
    return permitted


def known(call):
    """Whether this machine has the call: the sets hold those of every architecture."""
    return seccomp.resolve_syscall(seccomp.Arch(), call) >= 0


def main(unit, command):
    rules = seccomp.SyscallFilter(seccomp.ERRNO(getattr(errno, settings(unit, "SystemCallErrorNumber")[-1])))
    never_run = NEVER_RUN if settings(unit, "MemoryDenyWriteExecute")[-1:] == ["yes"] else {}
    families = [getattr(socket, name) for value in settings(unit, "RestrictAddressFamilies") for name in value.split()]
    for call in filter(known, permitted(unit)):
        if call == "socket" and families:
            for family in families:
                rules.add_rule(seccomp.ALLOW, call, seccomp.Arg(0, seccomp.EQ, family))
        elif call not in never_run:
            rules.add_rule(seccomp.ALLOW, call)
        else:
            # What is left of it: each of the bits clear in turn.
            argument, bits = never_run[call]
            for bit in bits:
                rules.add_rule(seccomp.ALLOW, call, seccomp.Arg(argument, seccomp.MASKED_EQ, bit, 0))
    rules.load()
    os.execvp(command[0], command)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
