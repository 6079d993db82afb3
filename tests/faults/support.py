# SPDX-License-Identifier: GPL-3.0-or-later
"""What the scripts of this folder share: small scans, and comparing what runs leave behind."""
import csv
import io
import json
import os

import numpy as np
from PIL import Image


def speckle(width, height, seed, radius=3.0):
    """Blots of ink on paper with a little noise, as 8-bit codes."""
    rng = np.random.default_rng(seed)
    code = np.full((height, width), 225.0)
    yy, xx = np.mgrid[0:height, 0:width]
    for _ in range(width * height // 150):
        x, y, r = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(1.5, radius)
        code[(xx - x) ** 2 + (yy - y) ** 2 <= r * r] = 60
    return np.clip(code + rng.normal(0, 2, code.shape), 0, 255).astype(np.uint8)


def make_batch(folder, count, side=64):
    """count scans and the manifest batch.csv."""
    os.makedirs(folder, exist_ok=True)
    with open(f'{folder}/batch.csv', 'w') as table:
        table.write('scan,patch,paste_pct\n')
        for number in range(count):
            Image.fromarray(speckle(side, side, number)).save(f'{folder}/s{number}.png', dpi=(600, 600))
            table.write(f's{number}.png,P{number},{2 + number % 3}\n')


def files(folder):
    """Every file below a folder: its bytes by its path."""
    found = {}
    for root, _, names in os.walk(folder):
        for name in names:
            path = os.path.join(root, name)
            with open(path, 'rb') as stream:
                found[os.path.relpath(path, folder)] = stream.read()
    return found


def comparable(name, data, folder=''):
    """Content without what may differ between two equal runs: times, and the folder's own name."""
    if name.endswith('run.json'):
        page = json.loads(data)
        page['started'] = page['finished'] = None
        return json.dumps(page)
    return data.replace(folder.encode(), b'') if folder else data


def whole(name, data):
    """None, or what is half about the file."""
    try:
        if name.endswith('.json'):
            json.loads(data)
        elif name.endswith('.csv'):
            text = data.decode()
            if not text.endswith('\n'):
                return 'its last line has no end'
            rows = list(csv.reader(io.StringIO(text)))
            if any(len(row) != len(rows[0]) for row in rows):
                return 'a row has another number of cells'
        elif name.endswith('.png'):
            Image.open(io.BytesIO(data)).load()
    except (ValueError, OSError, SyntaxError) as why:
        return str(why)
    return None


def differences(folder, clean):
    """Complaints where the files of a finished run are not those of a clean one."""
    found = files(folder)
    wrong = [f'{name} is missing' for name in sorted(set(clean) - set(found))]
    for name, data in sorted(found.items()):
        if name not in clean:
            wrong.append(f'{name} is left over')
        elif comparable(name, data) != comparable(name, clean[name]):
            wrong.append(f'{name} has other content')
    return wrong
