# SPDX-License-Identifier: GPL-3.0-or-later
"""What the checks of an installed fleck share."""
import os
import subprocess
import sys


class Checks:
    def __init__(self):
        self.passed = self.failed = self.skipped = 0

    def expect(self, case, good, what=''):
        if good:
            self.passed += 1
        else:
            self.failed += 1
            print(f'FAIL {case}: {what}')
        return good

    def skip(self, case, why):
        self.skipped += 1
        print(f'skipped {case}: {why}')

    def run(self, case, words, environment=None, stdin=None, folder=None, silent=False):
        """Run a command that must succeed, when `silent` without a word on stderr; its stdout."""
        done = subprocess.run(words, env={**os.environ, **(environment or {})}, input=stdin, cwd=folder,
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE, timeout=300, check=False)
        said = done.stderr.decode(errors='replace')
        out = done.stdout.decode(errors='replace')
        self.expect(case, done.returncode == 0, f'{words}: exit code {done.returncode}: {out[-2000:]}{said[-2000:]}')
        if silent:
            self.expect(case, said == '', f'{words}: {said[-2000:]}')
        return out

    def end(self):
        print(f'{self.passed} passed, {self.failed} failed, {self.skipped} skipped')
        sys.exit(1 if self.failed or not self.passed else 0)


def several(folder, words, least=1):
    """Files of a folder with that ending, sorted; a check over none would prove nothing."""
    found = sorted(os.path.join(folder, name) for name in os.listdir(folder) if name.endswith(words))
    assert len(found) >= least, f'{folder} holds {len(found)} files *{words}'
    return found
