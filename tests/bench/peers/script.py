# SPDX-License-Identifier: GPL-3.0-or-later
"""What a careful researcher scripts with scikit-image and SciPy. usage: script.py SCAN PPI [--tone] [--no-whole] [--no-perimeter] [--tile=1024] -> one JSON line

Stages: decode, (tone: sRGB to reflectance), otsu, label, props (area, bbox, centroid), perimeter (Crofton, 4 directions), nn, spectrum of the
whole field (fft2), spectrum of square tiles with Hann window and half overlap (mask field and grey field).
"""
import sys, json, time, numpy as np
from skimage import io, filters, measure
from scipy.spatial import cKDTree
T = {}; args = sys.argv[1:]; flags = {a for a in args if a.startswith('--')}; path, ppi = [a for a in args if not a.startswith('--')]
px = 25.4 / float(ppi); t = time.perf_counter()


def lap(k):
    global t
    T[k] = round(time.perf_counter() - t, 4); t = time.perf_counter()


def radial(P, shape):
    """Radial mean of a power spectrum over |f|, one bin per 1/(smaller side)."""
    fy, fx = np.fft.fftfreq(shape[0])[:, None], np.fft.rfftfreq(shape[1])[None, :]
    b = (np.hypot(fy, fx) * min(shape)).astype(np.int32).ravel()
    return np.bincount(b, P.ravel()) / np.maximum(np.bincount(b), 1)


def vm():
    return {l.split(':')[0]: int(l.split()[1]) // 1024 for l in open('/proc/self/status') if l.startswith(('VmHWM', 'VmRSS'))}


m0 = vm()['VmRSS']; t = time.perf_counter()
g = io.imread(path); g = g if g.ndim == 2 else g.mean(2).astype(g.dtype); lap('decode')
R = g
if '--tone' in flags:
    c = g / float(np.iinfo(g.dtype).max); R = np.where(c <= .04045, c / 12.92, ((c + .055) / 1.055) ** 2.4).astype(np.float32); lap('tone')
k = filters.threshold_otsu(R); ink = R <= k; lap('otsu')
lab = measure.label(ink, connectivity=2); lap('label')
p = measure.regionprops_table(lab, properties=('label', 'area', 'bbox', 'centroid')); lap('props')
per = None
if '--no-perimeter' not in flags:
    per = measure.regionprops_table(lab, properties=('perimeter_crofton',))['perimeter_crofton']; lap('perimeter')
a = p['area'] * px * px; d = 2 * np.sqrt(a / np.pi); ok = d >= .1
xy = np.c_[p['centroid-1'], p['centroid-0']][ok] * px; nn = cKDTree(xy).query(xy, k=2)[0][:, 1]; lap('nn')
n = int(lab.max()); del lab; ms = vm()['VmHWM']; t = time.perf_counter()
S = None
if '--no-whole' not in flags:
    z = ink.astype(np.float64); S = radial(np.abs(np.fft.rfft2(z - z.mean())) ** 2, z.shape); lap('spectrum_whole_1field')
L = next((int(one[7:]) for one in flags if one.startswith('--tile=')), 1024); w = np.outer(np.hanning(L), np.hanning(L)).astype(np.float32); Q = [0, 0]
for f, F in enumerate((ink, R)):
    for y in range(0, F.shape[0] - L + 1, L // 2):
        for x in range(0, F.shape[1] - L + 1, L // 2):
            z = F[y:y + L, x:x + L].astype(np.float32); Q[f] = Q[f] + np.abs(np.fft.rfft2((z - z.mean()) * w)) ** 2
    Q[f] = radial(Q[f], (L, L))
lap('spectrum_tiles_2fields')
print(json.dumps(dict(peer='skimage', image=path.split('/')[-1], mpx=round(g.size / 1e6, 2), threshold=float(k), n_all=n, n_kept=int(ok.sum()), coverage=float(ink.mean()),
      area_px=int(p['area'].sum()), perimeter_px=None if per is None else float(per.sum()), d50_mm=float(np.median(d[ok])), nn_mm=float(nn.mean()), peak_at=int(np.argmax(Q[0][2:]) + 2),
      seconds=T, total=round(sum(T.values()), 3), total_no_whole=round(sum(v for q, v in T.items() if 'whole' not in q), 3), rss_import_mb=m0, hwm_to_nn_mb=ms, hwm_mb=vm()['VmHWM'])))
