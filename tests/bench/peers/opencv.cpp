// SPDX-License-Identifier: GPL-3.0-or-later
// OpenCV peer: imread, Otsu, connectedComponentsWithStats, perimeters by contours, exact nearest neighbours (FLANN single k-d tree), cv::dft.
// build: g++ -O3 -march=native opencv.cpp -o opencv $(pkg-config --cflags opencv4) -lopencv_core -lopencv_imgproc -lopencv_imgcodecs -lopencv_flann
// usage: opencv SCAN PPI THREADS(0 = default) [REPS=3] [whole|padded|none] [TILE=1024]   -> one JSON line, each stage the minimum over REPS
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/flann.hpp>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <map>
#include <string>
#include <vector>
using namespace cv;
static double now() { return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count(); }
static long vm(const char *key) {
  FILE *f = fopen("/proc/self/status", "r"); char line[256]; long kb = 0;
  while (f && fgets(line, sizeof line, f)) if (!strncmp(line, key, strlen(key))) sscanf(line + strlen(key) + 1, "%ld", &kb);
  if (f) fclose(f);
  return kb / 1024;
}
int main(int argc, char **argv) {
  if (argc < 4) { fprintf(stderr, "usage: peer_opencv SCAN PPI THREADS [REPS] [whole|padded|none] [TILE]\n"); return 2; }
  const double px = 25.4 / atof(argv[2]); const int threads = atoi(argv[3]), reps = argc > 4 ? atoi(argv[4]) : 3; const std::string mode = argc > 5 ? argv[5] : "none"; const int tile = argc > 6 ? atoi(argv[6]) : 1024;
  if (threads > 0) setNumThreads(threads);
  std::map<std::string, double> best; std::vector<std::string> order; double t = now();
  auto lap = [&](const char *k) { double s = now() - t; if (!best.count(k)) { best[k] = s; order.push_back(k); } else best[k] = std::min(best[k], s); t = now(); };
  const long rss0 = vm("VmRSS"); long hwm_nn = 0; int n = 0, kept = 0; double thr = 0, area = 0, per = 0, nn = 0, sp = 0; Mat g;
  for (int rep = 0; rep < reps; rep++) {
    t = now(); g = imread(argv[1], IMREAD_GRAYSCALE); lap("decode");
    Mat m; thr = threshold(g, m, 0, 255, THRESH_BINARY_INV | THRESH_OTSU); lap("otsu");
    Mat lab, st, ce; n = connectedComponentsWithStats(m, lab, st, ce, 8, CV_32S) - 1; lap("label_stats");
    const double amin = CV_PI / 4 * (.1 / px) * (.1 / px); std::vector<float> xy; area = 0;
    for (int i = 1; i <= n; i++) { int a = st.at<int>(i, CC_STAT_AREA); area += a; if (a >= amin) { xy.push_back((float)ce.at<double>(i, 0)); xy.push_back((float)ce.at<double>(i, 1)); } }
    kept = (int)(xy.size() / 2); t = now();
    for (int kind : {CCL_SPAGHETTI, CCL_BBDT}) { t = now(); connectedComponentsWithStats(m, lab, st, ce, 8, CV_32S, kind); lap(kind == CCL_BBDT ? "label_bbdt_warm" : "label_spaghetti_warm"); }   // the buffers are there already
    lab.release(); t = now();
    { std::vector<std::vector<Point>> c; findContours(m, c, RETR_CCOMP, CHAIN_APPROX_NONE); per = 0; for (auto &q : c) per += arcLength(q, true); } lap("perimeter");
    Mat pts(kept, 2, CV_32F, xy.data()), id(kept, 2, CV_32S), di(kept, 2, CV_32F);
    { cv::flann::GenericIndex<cvflann::L2<float>> ix(pts, cvflann::KDTreeSingleIndexParams(16)); ix.knnSearch(pts, id, di, 2, cvflann::SearchParams(-1)); }
    nn = 0; for (int i = 0; i < kept; i++) nn += std::sqrt(di.at<float>(i, 1)) * px; nn /= kept; lap("nn"); hwm_nn = vm("VmHWM");
    if (mode != "none" && rep == 0) {
      t = now(); Mat f, F; m.convertTo(f, CV_32F); if (mode == "padded") copyMakeBorder(f, f, 0, getOptimalDFTSize(f.rows) - f.rows, 0, getOptimalDFTSize(f.cols) - f.cols, BORDER_CONSTANT, Scalar(0));
      dft(f, F, 0); lap(mode == "padded" ? "spectrum_whole_padded_1field" : "spectrum_whole_1field"); sp += F.at<float>(0, 1);
    }
    const int L = tile; Mat w, P; createHanningWindow(w, Size(L, L), CV_32F); t = now();
    for (int field = 0; field < 2; field++) { Mat T, F, re[2], E; const Mat &src = field ? g : m;
      for (int y = 0; y + L <= g.rows; y += L / 2) for (int x = 0; x + L <= g.cols; x += L / 2) {
        src(Rect(x, y, L, L)).convertTo(T, CV_32F); T -= mean(T)[0]; T = T.mul(w); dft(T, F); multiply(F, F, E); if (P.empty()) P = E.clone(); else P += E; } }   // packed CCS squares: the radial sum is a small extra
    sp += P.at<float>(0, 1); lap("spectrum_tiles_2fields");
  }
  printf("{\"peer\":\"opencv\",\"threads\":%d,\"mpx\":%.2f,\"threshold\":%g,\"n_all\":%d,\"n_kept\":%d,\"area_px\":%.0f,\"perimeter_px\":%.0f,\"nn_mm\":%.5f,\"check\":%.3g,\"seconds\":{", getNumThreads(), g.total() / 1e6, thr, n, kept, area, per, nn, sp);
  double tot = 0; for (size_t i = 0; i < order.size(); i++) { printf("%s\"%s\":%.4f", i ? "," : "", order[i].c_str(), best[order[i]]); if (order[i].find("whole") == std::string::npos && order[i].find("warm") == std::string::npos) tot += best[order[i]]; }
  printf("},\"total_no_whole\":%.3f,\"rss0_mb\":%ld,\"hwm_to_nn_mb\":%ld,\"hwm_mb\":%ld}\n", tot, rss0, hwm_nn, vm("VmHWM"));
}
