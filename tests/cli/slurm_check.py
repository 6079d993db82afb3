#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The job array of docs/many-machines.md on a Slurm of one node: `slurm_check.py PROGRAM`, as root.

Not one of the tests that run by themselves: needs the Debian packages slurm-wlm and munge, which would be
most of what the tests need. Starts munged, slurmctld and slurmd with files of their own in a temporary
folder, and ends them.
"""
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time

from cli_cases import Cases, png, speckle
from gather_cases import many_machines, same

SLICES, CONF = 4, '''ClusterName=one
SlurmctldHost={host}
SlurmUser=root
AuthType=auth/munge
AuthInfo=socket={top}/munge.socket
SlurmctldPort=16817
SlurmdPort=16818
StateSaveLocation={top}/state
SlurmdSpoolDir={top}/spool
SlurmctldPidFile={top}/slurmctld.pid
SlurmdPidFile={top}/slurmd.pid
ProctrackType=proctrack/pgid
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
ReturnToService=2
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU_Memory
MinJobAge=300
NodeName={host} CPUs=2 RealMemory=2500 State=UNKNOWN
PartitionName=all Nodes={host} Default=YES MaxTime=INFINITE State=UP
'''


class Slurm:
    """One node in a folder; `env` is for its commands."""

    def __init__(self, top):
        self.top, self.running = top, []
        self.env = {**os.environ, 'SLURM_CONF': os.path.join(top, 'slurm.conf')}

    def start(self, *words):
        log = open(os.path.join(self.top, os.path.basename(words[0]) + '.out'), 'wb')
        self.running.append(subprocess.Popen(words, stdout=log, stderr=log, env=self.env))

    def begin(self):
        host = socket.gethostname().split('.')[0]
        for name in ('state', 'spool'):
            os.mkdir(os.path.join(self.top, name))
        with open(os.path.join(self.top, 'slurm.conf'), 'w', encoding='ascii') as out:
            out.write(CONF.format(host=host, top=self.top))
        key = os.path.join(self.top, 'munge.key')
        with open(key, 'wb') as out:
            out.write(os.urandom(128))
        os.chmod(key, 0o400)
        os.chmod(self.top, 0o755)
        self.start('munged', '--foreground', '--force', f'--key-file={key}', f'--socket={self.top}/munge.socket',
                   f'--pid-file={self.top}/munge.pid', f'--log-file={self.top}/munge.log',
                   f'--seed-file={self.top}/munge.seed')
        time.sleep(1)
        self.start('slurmctld', '-D', '-i')
        self.start('slurmd', '-D')
        for _ in range(60):
            states = self.said('sinfo', '-h', '-o', '%T')
            if states.strip() == 'idle':
                return True
            time.sleep(0.5)
        return False

    def said(self, *words):
        return subprocess.run(words, env=self.env, capture_output=True, text=True, check=False).stdout

    def wait(self, seconds):
        for _ in range(2 * seconds):
            if not self.said('squeue', '-h').strip():
                return True
            time.sleep(0.5)
        return False

    def end(self):
        for process in reversed(self.running):
            process.terminate()
            process.wait()


def main():
    if len(sys.argv) != 2:
        sys.exit('usage: slurm_check.py PROGRAM')
    program = os.path.abspath(sys.argv[1])
    for needed in ('munged', 'slurmctld', 'slurmd', 'sbatch'):
        if shutil.which(needed) is None:
            sys.exit(f'{needed} is not installed; apt-get install slurm-wlm munge')
    with tempfile.TemporaryDirectory() as top, tempfile.TemporaryDirectory() as work:
        cases = Cases(program, work)
        rows = 'scan,n\n'
        for i in range(6):
            cases.put(f'{i}.png', png(speckle(400, 300, seed=i)))
            rows += f'{i}.png,{i}\n'
        cases.put('plan.csv', rows)
        os.chdir(work)
        cases.call('whole', ['measure', 'plan.csv', '-o', 'whole', '--quiet'], 0)
        script, calls = many_machines('#SBATCH')[0], many_machines('sbatch')[0]
        with open('speckle.sh', 'w', encoding='ascii') as out:
            out.write(re.sub(r'1-40|/40', lambda found: found[0].replace('40', str(SLICES)), script))
        slurm = Slurm(top)
        slurm.env['PATH'] = os.path.dirname(program) + os.pathsep + os.environ['PATH']
        try:
            if not slurm.begin():
                for name in os.listdir(top):
                    if name.endswith('.out'):
                        with open(os.path.join(top, name), encoding='utf-8') as text:
                            print(f'-- {name}\n{text.read()[-2000:]}')
                sys.exit('slurm did not start')
            begun = time.time()
            done = subprocess.run(['sh', '-e', '-c', calls], env=slurm.env, capture_output=True, text=True, check=False)
            cases.expect('sbatch', done.returncode == 0, done.stderr)
            cases.expect('the queue', slurm.wait(120), slurm.said('squeue'))
            print(f'{SLICES} slices and the gathering on one node: {time.time() - begun:.1f} s')
        finally:
            slurm.end()
        for name in sorted(os.listdir('.')):
            if name.startswith('slurm-'):
                with open(name, encoding='utf-8') as text:
                    wrong = [line for line in text if 'warning' not in line]
                cases.expect(name, not wrong, wrong)
        cases.expect('gathered', os.path.exists('run/patches.csv'), 'no run')
        if os.path.exists('run/patches.csv'):
            same(cases, 'gathered', 'whole', 'run')
        print(f'{cases.passed} passed, {cases.failed} failed')
        os.chdir('/')
    return cases.failed > 0


if __name__ == '__main__':
    sys.exit(main())
