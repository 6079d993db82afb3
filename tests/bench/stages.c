/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Times of the stages of a measurement, through the library's public functions, beside what they
 * stand on: stages SCAN THREADS ROUNDS [ROWS]
 *
 * Prints one line of JSON: the least seconds of all rounds, stages interleaved. All work on one
 * grey scan of 8 or 16 bits that is kept in memory, but `decode`, which throws its rows away.
 *
 *   decode      libpng, libtiff or libjpeg-turbo, as fleck calls them
 *   tone        codes to reflectances
 *   histogram   of the reflectances
 *   label       runs of ink, components of both phases with area, box, centroid and place
 *   label_ink   the same of ink alone
 *   label_bands the same of both phases in as many bands as threads, which are joined
 *   spectrum    both fields, windowed tiles, rings
 *   bare_fft    FFTW alone: as many transforms of tiles of this size, with the same planner flag
 *   first_record  from the file to components, nearest neighbours and both spectra, on THREADS
 * threads
 */
#include <fftw3.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "fleck/scan.h"
#include "fleck/segment.h"
#include "fleck/texture.h"
#include "fleck/tone.h"

enum { BATCH_ROWS = 64 }; /* cached */

enum {
    DECODE,
    TONE,
    HISTOGRAM,
    LABEL,
    LABEL_INK,
    LABEL_BANDS,
    SPECTRUM,
    BARE_FFT,
    FIRST_RECORD,
    STAGES
};

static const char *const names[STAGES] = { "decode",   "tone",      "histogram",
                                           "label",    "label_ink", "label_bands",
                                           "spectrum", "bare_fft",  "first_record" };

struct bench {
    const char *path;
    unsigned threads;
    fleck_geometry geometry; /* as of 600 ppi */
    size_t width, height, tile_px;
    unsigned sample_bytes;
    unsigned char *pixels;
    uint16_t *q; /* BATCH_ROWS rows */
    fleck_run *runs;
    fleck_tone *tone;
    uint64_t *counts;
    unsigned k;
    size_t dots, tiles;
    uint64_t sink;
};

static double seconds(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void stop(const fleck_error *err)
{
    fprintf(stderr, "stages: %s\n", err->message);
    exit(1);
}

static unsigned char *pixels_of(const struct bench *bench, size_t y)
{
    return bench->pixels + y * bench->width * bench->sample_bytes;
}

static void tone_row(struct bench *bench, size_t y, uint16_t *q)
{
    fleck_tone_row(bench->tone, FLECK_CHANNEL_LUMINANCE, pixels_of(bench, y), bench->width, q);
}

/* Reflectances of up to BATCH_ROWS rows; how many rows. */
static size_t tone_batch(struct bench *bench, size_t first)
{
    const size_t left = bench->height - first, rows = left < BATCH_ROWS ? left : BATCH_ROWS;

    for (size_t i = 0; i < rows; i++)
        tone_row(bench, first + i, bench->q + i * bench->width);
    return rows;
}

static void decode(struct bench *bench, bool keep)
{
    fleck_scan *scan;
    fleck_error err;
    unsigned char *row;

    if (fleck_scan_open(bench->path, 1, &scan, &err) != FLECK_OK)
        stop(&err);
    row = malloc(fleck_scan_row_bytes(scan));
    for (size_t y = 0; y < bench->height; y++) {
        unsigned char *const into = keep ? pixels_of(bench, y) : row;

        if (fleck_scan_read_row(scan, into, &err) != FLECK_OK)
            stop(&err);
        bench->sink += into[0];
    }
    free(row);
    fleck_scan_close(scan);
}

/* Seconds, without those of the reflectances. */
static double count_levels(struct bench *bench)
{
    fleck_level_counter *counter;
    fleck_error err;
    double begin = seconds(), took;

    if (fleck_level_counter_new(bench->tone, FLECK_CHANNEL_LUMINANCE, &counter, &err) != FLECK_OK)
        stop(&err);
    took = seconds() - begin;
    for (size_t first = 0; first < bench->height; first += BATCH_ROWS) {
        const size_t rows = tone_batch(bench, first);

        begin = seconds();
        for (size_t i = 0; i < rows; i++)
            fleck_level_counter_add(counter, pixels_of(bench, first + i),
                                    bench->q + i * bench->width, 0, bench->width);
        took += seconds() - begin;
    }
    begin = seconds();
    fleck_level_counter_get(counter, bench->counts);
    fleck_level_counter_free(counter);
    return took + seconds() - begin;
}

/* Every code to its reflectance. */
static void tone(struct bench *bench)
{
    for (size_t first = 0; first < bench->height; first += BATCH_ROWS)
        (void)tone_batch(bench, first);
}

/* One band of the region, and the thread that labels it. */
struct band {
    struct bench *bench;
    size_t first, rows;
    fleck_labeller *labeller;
    uint16_t *q;
    fleck_run *runs;
    pthread_t thread;
    double took;
    size_t dots;
    uint64_t sum;
};

static fleck_status count_dot(void *context, fleck_phase phase, const fleck_component *component,
                              fleck_error *err)
{
    struct band *const band = context;

    (void)err;
    band->dots += phase == FLECK_PHASE_INK;
    band->sum += component->area_px;
    return FLECK_OK;
}

/* Takes the time of runs and labels, not of the reflectances they come from. */
static void *label_band(void *argument)
{
    struct band *const band = argument;
    struct bench *const bench = band->bench;
    const size_t width = bench->width;
    fleck_error err;

    for (size_t done = 0; done < band->rows; done += BATCH_ROWS) {
        const size_t left = band->rows - done, rows = left < BATCH_ROWS ? left : BATCH_ROWS;
        double begin;

        for (size_t i = 0; i < rows; i++)
            tone_row(bench, band->first + done + i, band->q + i * width);
        begin = seconds();
        for (size_t i = 0; i < rows; i++) {
            const size_t count = fleck_runs_from_row(band->q + i * width, width, bench->k,
                                                     FLECK_INK_DARK, band->runs);

            if (fleck_labeller_row(band->labeller, band->runs, count, &err) != FLECK_OK)
                stop(&err);
        }
        band->took += seconds() - begin;
    }
    return NULL;
}

/* In as many bands as threads: the longest of the threads, and what comes before and after them. */
static double label(struct bench *bench, bool with_bare, size_t threads)
{
    struct band *const bands = calloc(threads, sizeof *bands);
    double begin = seconds(), took, longest = 0;
    fleck_error err;

    if (bands == NULL)
        exit(1);
    for (size_t i = 0; i < threads; i++) {
        struct band *const band = &bands[i];
        const size_t first = bench->height * i / threads;

        *band = (struct band){ .bench = bench,
                               .first = first,
                               .rows = bench->height * (i + 1) / threads - first,
                               .q = malloc(BATCH_ROWS * bench->width * sizeof *band->q),
                               .runs = malloc((bench->width / 2 + 1) * sizeof *band->runs) };
        if (band->q == NULL || band->runs == NULL)
            exit(1);
        if (fleck_labeller_new(bench->width, bench->height, NULL, count_dot, band, &band->labeller,
                               &err) != FLECK_OK ||
            (!with_bare && fleck_labeller_leave_out_bare(band->labeller, &err) != FLECK_OK) ||
            fleck_labeller_start_at(band->labeller, first, &err) != FLECK_OK)
            stop(&err);
    }
    took = seconds() - begin;
    for (size_t i = 1; i < threads; i++) {
        if (pthread_create(&bands[i].thread, NULL, label_band, &bands[i]) != 0)
            exit(1);
    }
    (void)label_band(&bands[0]);
    for (size_t i = 1; i < threads; i++)
        pthread_join(bands[i].thread, NULL);
    begin = seconds();
    for (size_t i = 1; i < threads; i++) {
        if (fleck_labeller_join(bands[0].labeller, bands[i].labeller, &err) != FLECK_OK)
            stop(&err);
    }
    if (fleck_labeller_finish(bands[0].labeller, &err) != FLECK_OK)
        stop(&err);
    bench->dots = 0;
    for (size_t i = 0; i < threads; i++) {
        longest = bands[i].took > longest ? bands[i].took : longest;
        bench->dots += bands[i].dots;
        bench->sink += bands[i].sum;
        fleck_labeller_free(bands[i].labeller);
        free(bands[i].q);
        free(bands[i].runs);
    }
    free(bands);
    return took + longest + seconds() - begin;
}

static void spectrum(struct bench *bench)
{
    fleck_spectrum_maker *maker;
    fleck_spectrum found;
    fleck_error err;

    if (fleck_spectrum_maker_new(&bench->geometry, NULL, bench->tile_px, true, bench->threads,
                                 &maker, &err) != FLECK_OK)
        stop(&err);
    for (size_t y = 0; y < bench->height; y++) {
        size_t count;

        tone_row(bench, y, bench->q);
        count = fleck_runs_from_row(bench->q, bench->width, bench->k, FLECK_INK_DARK, bench->runs);
        if (fleck_spectrum_maker_row(maker, bench->q, bench->runs, count, &err) != FLECK_OK)
            stop(&err);
    }
    if (fleck_spectrum_maker_finish(maker, &found, &err) != FLECK_OK)
        stop(&err);
    bench->tiles = found.tiles;
    fleck_spectrum_clear(&found);
    fleck_spectrum_maker_free(maker);
}

/* ---- core and spectrum, one behind the other on as many threads as are asked for ---- */

/* Rows decoded so far, for the thread that takes them. */
struct arrival {
    struct bench *bench;
    pthread_mutex_t lock;
    pthread_cond_t more;
    size_t rows;
};

static void *decode_rows(void *argument)
{
    struct arrival *const arrival = argument;
    struct bench *const bench = arrival->bench;
    fleck_scan *scan;
    fleck_error err;

    if (fleck_scan_open(bench->path, 1, &scan, &err) != FLECK_OK)
        stop(&err);
    for (size_t y = 0; y < bench->height; y++) {
        if (fleck_scan_read_row(scan, pixels_of(bench, y), &err) != FLECK_OK)
            stop(&err);
        if ((y + 1) % BATCH_ROWS == 0 || y + 1 == bench->height) {
            pthread_mutex_lock(&arrival->lock);
            arrival->rows = y + 1;
            pthread_cond_signal(&arrival->more);
            pthread_mutex_unlock(&arrival->lock);
        }
    }
    fleck_scan_close(scan);
    return NULL;
}

/* Histogram and tone spectrum of the rows as they arrive. */
static void take_rows(struct arrival *arrival, fleck_level_counter *counter,
                      fleck_spectrum_maker *maker)
{
    struct bench *const bench = arrival->bench;
    size_t arrived = 0;
    fleck_error err;

    for (size_t y = 0; y < bench->height; y++) {
        if (y == arrived) {
            pthread_mutex_lock(&arrival->lock);
            while (arrival->rows == y)
                pthread_cond_wait(&arrival->more, &arrival->lock);
            arrived = arrival->rows;
            pthread_mutex_unlock(&arrival->lock);
            fleck_spectrum_maker_set_threads(maker, bench->threads - (arrived < bench->height));
        }
        tone_row(bench, y, bench->q);
        fleck_level_counter_add(counter, pixels_of(bench, y), bench->q, 0, bench->width);
        if (fleck_spectrum_maker_tone_row(maker, bench->q, &err) != FLECK_OK)
            stop(&err);
    }
}

struct dots {
    const fleck_geometry *geometry;
    fleck_point_mm *places;
    double *distances_mm;
    size_t count, capacity;
    uint64_t cutoff_px;
};

static fleck_status keep_dot(void *context, fleck_phase phase, const fleck_component *component,
                             fleck_error *err)
{
    struct dots *const dots = context;
    (void)err;
    if (phase != FLECK_PHASE_INK || component->area_px < dots->cutoff_px)
        return FLECK_OK;
    if (dots->count == dots->capacity) {
        dots->capacity = 2 * dots->capacity + 1024;
        dots->places = realloc(dots->places, dots->capacity * sizeof *dots->places);
        if (dots->places == NULL)
            exit(1);
    }
    dots->places[dots->count++] = fleck_component_centroid(component, dots->geometry);
    return FLECK_OK;
}

/* Components, boundary length by intercepts, and nearest neighbours. */
static void *find_dots(void *argument)
{
    struct bench *const bench = argument;
    struct dots dots = { .geometry = &bench->geometry,
                         .cutoff_px = fleck_cutoff_area_px(&bench->geometry, 0.1) };
    uint16_t *const q = malloc(bench->width * sizeof *q);
    fleck_run *runs = malloc((bench->width / 2 + 1) * sizeof *runs);
    fleck_run *above = malloc((bench->width / 2 + 1) * sizeof *above);
    fleck_chord_counts chords = { 0 };
    size_t above_count = 0;
    fleck_labeller *labeller;
    fleck_error err;

    if (q == NULL || runs == NULL || above == NULL)
        exit(1);
    if (fleck_labeller_new(bench->width, bench->height, NULL, keep_dot, &dots, &labeller, &err) !=
        FLECK_OK)
        stop(&err);
    for (size_t y = 0; y < bench->height; y++) {
        fleck_run *const swapped = above;
        size_t count;

        tone_row(bench, y, q);
        count = fleck_runs_from_row(q, bench->width, bench->k, FLECK_INK_DARK, runs);
        if (fleck_labeller_row(labeller, runs, count, &err) != FLECK_OK)
            stop(&err);
        fleck_chord_counts_add_row(&chords, bench->width, NULL, y, runs, count, above, above_count);
        above = runs;
        above_count = count;
        runs = swapped;
    }
    if (fleck_labeller_finish(labeller, &err) != FLECK_OK)
        stop(&err);
    fleck_labeller_free(labeller);
    dots.distances_mm = malloc((dots.count + 1) * sizeof *dots.distances_mm);
    if (dots.distances_mm == NULL || fleck_nearest_neighbours(dots.places, dots.count, 1e6, 1e6,
                                                              dots.distances_mm, &err) != FLECK_OK)
        exit(1);
    bench->dots = dots.count;
    free(dots.places);
    free(dots.distances_mm);
    bench->sink += chords.changes_in_rows + chords.changes_in_columns;
    free(q);
    free(runs);
    free(above);
    return NULL;
}

/* Decoder beside histogram and tone; then, with the threshold, dots beside the ink's spectrum. */
static void first_record(struct bench *bench)
{
    struct arrival arrival = { .bench = bench };
    fleck_level_counter *counter;
    fleck_spectrum_maker *maker;
    fleck_spectrum found;
    pthread_t other;
    fleck_cut cut;
    fleck_error err;

    pthread_mutex_init(&arrival.lock, NULL);
    pthread_cond_init(&arrival.more, NULL);
    if (fleck_level_counter_new(bench->tone, FLECK_CHANNEL_LUMINANCE, &counter, &err) != FLECK_OK ||
        fleck_spectrum_maker_new(&bench->geometry, NULL, bench->tile_px, true, bench->threads,
                                 &maker, &err) != FLECK_OK)
        stop(&err);
    if (bench->threads < 2)
        (void)decode_rows(&arrival);
    else if (pthread_create(&other, NULL, decode_rows, &arrival) != 0)
        exit(1);
    take_rows(&arrival, counter, maker);
    if (bench->threads >= 2)
        pthread_join(other, NULL);
    fleck_level_counter_get(counter, bench->counts);
    fleck_level_counter_free(counter);
    if (fleck_cut_otsu(bench->counts, FLECK_INK_DARK, &cut, &err) != FLECK_OK)
        stop(&err);
    if (bench->threads < 2)
        (void)find_dots(bench);
    else if (pthread_create(&other, NULL, find_dots, bench) != 0)
        exit(1);
    for (size_t y = 0; y < bench->height; y++) {
        tone_row(bench, y, bench->q);
        if (fleck_spectrum_maker_ink_row(
                maker, bench->runs,
                fleck_runs_from_row(bench->q, bench->width, cut.k, FLECK_INK_DARK, bench->runs),
                &err) != FLECK_OK)
            stop(&err);
    }
    if (bench->threads >= 2)
        pthread_join(other, NULL);
    if (fleck_spectrum_maker_finish(maker, &found, &err) != FLECK_OK)
        stop(&err);
    bench->sink += found.tone_power_mm2[3] > found.ink_power_mm2[5];
    fleck_spectrum_clear(&found);
    fleck_spectrum_maker_free(maker);
    pthread_cond_destroy(&arrival.more);
    pthread_mutex_destroy(&arrival.lock);
}

/* On one thread; both fields. */
static void bare_fft(struct bench *bench)
{
    const int side = (int)bench->tile_px;
    const size_t values = bench->tile_px * bench->tile_px;
    double *const in = fftw_malloc(values * sizeof *in);
    fftw_complex *const out = fftw_malloc((values / 2 + bench->tile_px) * sizeof *out);
    fftw_plan plan = fftw_plan_dft_r2c_2d(side, side, in, out, FFTW_ESTIMATE);

    for (size_t i = 0; i < values; i++)
        in[i] = (double)(i * 2654435761u % 65536) - 32768;
    for (size_t i = 0; i < 2 * bench->tiles; i++)
        fftw_execute(plan);
    bench->sink += out[1][0] > 0;
    fftw_destroy_plan(plan);
    fftw_free(in);
    fftw_free(out);
}

/* Its seconds. */
static double run_stage(struct bench *bench, int stage)
{
    const double begin = seconds();

    switch (stage) {
    case DECODE:
        decode(bench, false);
        break;
    case TONE:
        tone(bench);
        break;
    case HISTOGRAM:
        return count_levels(bench);
    case LABEL:
        return label(bench, true, 1);
    case LABEL_INK:
        return label(bench, false, 1);
    case LABEL_BANDS:
        return label(bench, true, bench->threads);
    case SPECTRUM:
        spectrum(bench);
        break;
    case BARE_FFT:
        bare_fft(bench);
        break;
    case FIRST_RECORD:
        first_record(bench);
        break;
    }
    return seconds() - begin;
}

int main(int argc, char **argv)
{
    struct bench bench = { .path = argc > 1 ? argv[1] : "" };
    double best[STAGES];
    fleck_scan_info info;
    fleck_scan *scan;
    fleck_warnings warnings = { 0 };
    fleck_cut cut;
    fleck_error err;

    if (argc < 4) {
        fprintf(stderr, "usage: stages SCAN THREADS ROUNDS [ROWS]\n");
        return 2;
    }
    bench.threads = (unsigned)atoi(argv[2]);
    if (fleck_scan_open(bench.path, 1, &scan, &err) != FLECK_OK)
        stop(&err);
    info = *fleck_scan_get_info(scan);
    if (info.channels != 1 || info.has_alpha) {
        fprintf(stderr, "stages: %s: is no grey scan\n", bench.path);
        return 2;
    }
    if (fleck_tone_new(&info, NULL, &bench.tone, &warnings, &err) != FLECK_OK)
        stop(&err);
    fleck_scan_close(scan);
    bench.width = info.width_px;
    bench.height = argc > 4 ? (size_t)atoi(argv[4]) : info.height_px;
    bench.sample_bytes = info.sample_bytes;
    bench.geometry = (fleck_geometry){ bench.width, bench.height, 25.4 / 600, 25.4 / 600 };
    bench.tile_px = fleck_spectrum_tile_px(&bench.geometry);
    bench.pixels = malloc(bench.width * bench.height * bench.sample_bytes);
    bench.q = malloc(BATCH_ROWS * bench.width * sizeof *bench.q);
    bench.runs = malloc((bench.width / 2 + 1) * sizeof *bench.runs);
    bench.counts = malloc(FLECK_LEVELS * sizeof *bench.counts);
    if (bench.pixels == NULL || bench.q == NULL || bench.runs == NULL || bench.counts == NULL)
        return 1;
    decode(&bench, true);
    (void)count_levels(&bench);
    if (fleck_cut_otsu(bench.counts, FLECK_INK_DARK, &cut, &err) != FLECK_OK)
        stop(&err);
    bench.k = cut.k;
    for (int round = 0; round < atoi(argv[3]); round++) {
        for (int stage = 0; stage < STAGES; stage++) {
            const double took = run_stage(&bench, stage);

            if (round == 0 || took < best[stage])
                best[stage] = took;
        }
    }
    printf("{\"pixels\":%zu,\"dots\":%zu,\"tile_px\":%zu,\"tiles\":%zu", bench.width * bench.height,
           bench.dots, bench.tile_px, bench.tiles);
    for (int stage = 0; stage < STAGES; stage++)
        printf(",\"%s\":%.5f", names[stage], best[stage]);
    printf(",\"sink\":%d}\n", (int)(bench.sink & 1));
    free(bench.pixels);
    free(bench.q);
    free(bench.runs);
    free(bench.counts);
    fleck_tone_free(bench.tone);
    fleck_warnings_clear(&warnings);
    return 0;
}
