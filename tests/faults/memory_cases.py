#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether --memory is kept: `memory_cases.py PROGRAM [SIDE]`.

--memory is what pixels may take that are kept from the first pass over a scan to the second. A colour scan
of SIDE (default 2400) squared pixels, and four of them by four threads, are measured with several limits. The
process must never take more than the pixels that the limit allows to be kept, what the program takes to say its
version, and for each thread a share that does not grow with the pixels' bytes; records must not differ."""
import os
import shutil
import struct
import sys
import tempfile

from measured_call import Caller

# a thread's share: tables of what is drawn by chance, and for each pixel a bit of the mask and a part of the
# spectrum's rows. Measured: 24 MB and 0.3 bytes.
THREAD_BYTES, BYTES_A_PIXEL = 28e6, 0.4
CHANNELS = 3


def write_scan(path, side):
    """Squares of ink on paper, 20 pixels every 200, at 1200 ppi."""
    tone = {'paper': bytes([225] * CHANNELS), 'ink': bytes([60] * CHANNELS)}
    bare = tone['paper'] * side
    marked = ((tone['paper'] * 90 + tone['ink'] * 20 + tone['paper'] * 90) * (side // 200 + 1))[:len(bare)]
    entries = [(256, 4, 1, side), (257, 4, 1, side), (258, 3, 3, 200), (259, 3, 1, 1), (262, 3, 1, 2),
               (273, 4, 1, 300), (277, 3, 1, CHANNELS), (278, 4, 1, side), (279, 4, 1, len(bare) * side),
               (282, 5, 1, 210), (283, 5, 1, 210), (296, 3, 1, 2)]
    head = b'II*\0' + struct.pack('<IH', 8, len(entries))
    head += b''.join(struct.pack('<HHII', *entry) for entry in entries) + struct.pack('<I', 0)
    head = head.ljust(200, b'\0') + struct.pack('<HHH', 8, 8, 8)
    head = head.ljust(210, b'\0') + struct.pack('<II', 1200, 1)
    with open(path, 'wb') as file:
        file.write(head.ljust(300, b'\0'))
        for y in range(side):
            file.write(marked if 90 <= y % 200 < 110 else bare)


def records(folder):
    found = {}
    for name in sorted(os.listdir(f'{folder}/run/records')):
        with open(f'{folder}/run/records/{name}', 'rb') as file:
            found[name] = file.read()
    return found


def main():
    caller = Caller(300)
    program = os.path.abspath(sys.argv[1])
    side = int(sys.argv[2]) if len(sys.argv) > 2 else 2400
    pixels = side * side * CHANNELS
    wrong = []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(4):
            write_scan(f'{folder}/s{number}.tif', side)
        code, said, _, program_bytes = caller.call(program, folder, ['--version'])
        assert code == 0, said
        for scans, jobs in (['s0.tif'], 1), ([f's{number}.tif' for number in range(4)], 4):
            first, room = None, program_bytes + jobs * (THREAD_BYTES + BYTES_A_PIXEL * side * side)
            # next to none; too little for one scan; for one; for two; for all
            for share in (0, 0.9, 1.1, 2.1, 8):
                limit = int(share * pixels) + 1024
                may_keep = min(limit // pixels, len(scans)) * pixels
                shutil.rmtree(f'{folder}/run', ignore_errors=True)
                code, said, _, memory = caller.call(program, folder, [
                    'measure', *scans, '-o', 'run', '--simulations', '0', '--jobs', str(jobs), '--memory',
                    str(limit), '-q'])
                name = f'{len(scans)} scans, --memory {limit / 1e6:.1f} MB'
                print(f'{name}: {memory / 1e6:.1f} MB of {(room + may_keep) / 1e6:.1f}')
                if code != 0:
                    wrong.append(f'{name}: exit code {code}: {said}')
                    break
                first = first or records(folder)
                if memory > room + may_keep:
                    wrong.append(f'{name}: {memory / 1e6:.1f} MB')
                if records(folder) != first:
                    wrong.append(f'{name}: other records')
            if memory < len(scans) * pixels:
                wrong.append(f'{name}: pixels are not kept even then, so that nothing was shown')
    for line in wrong:
        print('WRONG', line)
    return 1 if wrong else 0


if __name__ == '__main__':
    sys.exit(main())
