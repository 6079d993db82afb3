# SPDX-License-Identifier: GPL-3.0-or-later
"""Calls whose time and memory are measured. Memory that a parent holds counts for what it forks, so a small
process of its own does the calling: make a Caller before large modules are loaded or files are made."""
import json
import os
import subprocess
import threading


class Caller:
    def __init__(self, longest_seconds):
        from_here, self.to_runner = os.pipe()
        self.from_runner, to_here = os.pipe()
        if os.fork() == 0:
            os.close(self.to_runner)
            os.close(self.from_runner)
            run_calls(os.fdopen(from_here), os.fdopen(to_here, 'w'), longest_seconds)
            os._exit(0)
        os.close(from_here)
        os.close(to_here)
        self.orders, self.results = os.fdopen(self.to_runner, 'w'), os.fdopen(self.from_runner)

    def call(self, program, folder, words):
        """Exit code, stderr, seconds of processor time, and the most bytes of memory at a time."""
        print(json.dumps([program, folder, words]), file=self.orders, flush=True)
        return json.loads(self.results.readline())


def run_calls(orders, results, longest_seconds):
    for line in orders:
        program, folder, words = json.loads(line)
        process = subprocess.Popen([program, *words], cwd=folder, stdout=subprocess.DEVNULL,
                                   stderr=subprocess.PIPE, text=True, errors='replace')
        alarm = threading.Timer(longest_seconds, process.kill)
        alarm.start()
        said = process.stderr.read()
        _, status, used = os.wait4(process.pid, 0)
        alarm.cancel()
        process.stderr.close()
        process.returncode = os.waitstatus_to_exitcode(status)
        print(json.dumps([process.returncode, said, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024]),
              file=results, flush=True)
