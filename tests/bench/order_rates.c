/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often patches of discs are called clustered, random and regular, and what a verdict costs:
 * order_rates [PATCHES [SIDE_MM [SIMULATIONS [NAME]]]], by default 200 patches of 15 mm at 600 ppi,
 * 99 simulations, of all recipes whose name starts so; order_rates page [COVERAGE] for one page of
 * 210 x 297 mm.
 *
 * Random discs are phantoms (a Boolean model), with hard edges and soft ones, of one size and of
 * many. The others are drawn here: lattices whose discs are moved by a normal law, and Thomas
 * (1949) clusters.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "fleck/pattern.h"
#include "fleck/phantom.h"
#include "fleck/texture.h"

static const double ppi = 600;

enum kind { RANDOM, SEPARATE, JITTERED, CLUSTERS };

static const struct recipe {
    const char *name;
    enum kind kind;
    double coverage, diameter_mm, gsd, softness_mm;
    double
        spread; /* jitter over the lattice's spacing, or sd of a cluster over the disc's diameter */
    size_t share; /* of the patches that are asked for: 1 over this */
} recipes[] = {
    { "random 5 %", RANDOM, 0.05, 0.3, 1, 0, 0, 1 },
    { "random 20 %", RANDOM, 0.2, 0.3, 1, 0, 0, 1 },
    { "random 40 %", RANDOM, 0.4, 0.3, 1, 0, 0, 1 },
    { "random 5 %, soft", RANDOM, 0.05, 0.3, 1, 0.02, 0, 5 },
    { "random 20 %, soft", RANDOM, 0.2, 0.3, 1, 0.02, 0, 5 },
    { "random 40 %, soft", RANDOM, 0.4, 0.3, 1, 0.02, 0, 5 },
    { "random 20 %, sizes", RANDOM, 0.2, 0.25, 1.4, 0.02, 0, 5 },
    { "separate 20 %", SEPARATE, 0.2, 0.3, 1, 0, 0, 10 },
    { "jittered 5 %", JITTERED, 0.05, 0.3, 1, 0, 0.15, 10 },
    { "jittered 20 %", JITTERED, 0.2, 0.3, 1, 0, 0.15, 10 },
    { "jittered 20 %, more", JITTERED, 0.2, 0.3, 1, 0, 0.25, 10 },
    { "clusters 5 %", CLUSTERS, 0.05, 0.3, 1, 0, 2, 10 },
    { "clusters 20 %", CLUSTERS, 0.2, 0.3, 1, 0, 2, 10 },
};

struct picture {
    fleck_geometry geometry;
    unsigned char *ink;
    double blur_sd_mm;
};

struct dots {
    fleck_component *items;
    size_t count, capacity;
    uint64_t least_area_px;
};

static void fail(const char *message)
{
    fprintf(stderr, "%s\n", message);
    exit(1);
}

static void *room(size_t count, size_t size)
{
    void *const bytes = calloc(count > 0 ? count : 1, size);

    if (bytes == NULL)
        fail("no memory");
    return bytes;
}

/* Of this program alone, whatever else the machine does. */
static double seconds(void)
{
    struct timespec now;

    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static double uniform(uint64_t *state)
{
    uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));

    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) * 0x1p-53;
}

static double normal(uint64_t *state)
{
    const double length = sqrt(-2 * log(uniform(state)));

    return length * cos(2 * 3.14159265358979323846 * uniform(state));
}

static double poisson(uint64_t *state, double mean)
{
    double n = -1;

    for (double at = 0; at < mean; n++)
        at -= log(uniform(state));
    return n;
}

static void draw_disc(struct picture *picture, double x_mm, double y_mm, double diameter_mm)
{
    const double px = picture->geometry.pixel_x_mm, r = diameter_mm / 2 / px;
    const double cx = x_mm / px - 0.5, cy = y_mm / px - 0.5;

    for (double y = fmax(ceil(cy - r), 0); y <= cy + r && y < (double)picture->geometry.height_px;
         y++)
        for (double x = fmax(ceil(cx - r), 0);
             x <= cx + r && x < (double)picture->geometry.width_px; x++)
            if ((x - cx) * (x - cx) + (y - cy) * (y - cy) <= r * r)
                picture->ink[(size_t)y * picture->geometry.width_px + (size_t)x] = 1;
}

static void draw_phantom(const struct recipe *recipe, double width_mm, double height_mm,
                         uint64_t seed, struct picture *picture)
{
    fleck_phantom_options options = fleck_phantom_options_default();
    fleck_phantom *phantom = NULL;
    fleck_error err;
    const float *value;
    double px;

    options.kind = recipe->kind == RANDOM ? FLECK_PHANTOM_DISCS : FLECK_PHANTOM_SEPARATE;
    options.width_mm = width_mm;
    options.height_mm = height_mm;
    options.ppi = ppi;
    options.coverage = recipe->coverage;
    options.sizes = recipe->gsd > 1 ? FLECK_PHANTOM_LOGNORMAL : FLECK_PHANTOM_FIXED;
    options.diameter_mm = recipe->diameter_mm;
    options.gsd = recipe->gsd;
    options.gap_mm = 0.05;
    options.antialias = recipe->softness_mm > 0;
    options.softness_mm = recipe->softness_mm;
    options.noise = 0;
    options.ink_reflectance = 0;
    options.paper_reflectance = 1;
    options.seed = seed;
    if (fleck_phantom_new(&options, &phantom, &err) != FLECK_OK)
        fail(err.message);
    value = fleck_phantom_reflectance(phantom, &picture->geometry.width_px,
                                      &picture->geometry.height_px);
    picture->ink = room(picture->geometry.width_px * picture->geometry.height_px, 1);
    for (size_t i = 0; i < picture->geometry.width_px * picture->geometry.height_px; i++)
        picture->ink[i] = value[i] < 0.5f;
    fleck_phantom_free(phantom);
    px = picture->geometry.pixel_x_mm;
    /* a pixel's own square has the variance px^2 / 12 */
    picture->blur_sd_mm =
        options.antialias ? sqrt(options.softness_mm * options.softness_mm + px * px / 12) : 0;
}

static void draw(const struct recipe *recipe, double width_mm, double height_mm, uint64_t seed,
                 struct picture *picture)
{
    const double px = 25.4 / ppi, d = recipe->diameter_mm, disc_mm2 = 0.785398163 * d * d;
    const double per_mm2 = recipe->coverage / disc_mm2, spacing = 1 / sqrt(per_mm2);
    uint64_t state = seed * 7919;

    picture->blur_sd_mm = 0;
    picture->geometry =
        (fleck_geometry){ (size_t)(width_mm / px + 0.5), (size_t)(height_mm / px + 0.5), px, px };
    if (recipe->kind == RANDOM || recipe->kind == SEPARATE) {
        draw_phantom(recipe, width_mm, height_mm, seed, picture);
        return;
    }
    picture->ink = room(picture->geometry.width_px * picture->geometry.height_px, 1);
    if (recipe->kind == JITTERED) {
        for (double y = -spacing; y < height_mm + spacing; y += spacing)
            for (double x = -spacing; x < width_mm + spacing; x += spacing)
                draw_disc(picture, x + recipe->spread * spacing * normal(&state),
                          y + recipe->spread * spacing * normal(&state), d);
    } else {
        const double reach = 4 * recipe->spread * d, children = 5;
        const double parents =
            poisson(&state, per_mm2 / children * (width_mm + 2 * reach) * (height_mm + 2 * reach));

        for (double i = 0; i < parents; i++) {
            const double x = uniform(&state) * (width_mm + 2 * reach) - reach;
            const double y = uniform(&state) * (height_mm + 2 * reach) - reach;
            const double n = poisson(&state, children);

            for (double j = 0; j < n; j++)
                draw_disc(picture, x + recipe->spread * d * normal(&state),
                          y + recipe->spread * d * normal(&state), d);
        }
    }
}

static fleck_status gather(void *context, fleck_phase phase, const fleck_component *component,
                           fleck_error *err)
{
    struct dots *const dots = context;

    (void)err;
    if (phase != FLECK_PHASE_INK || component->area_px < dots->least_area_px)
        return FLECK_OK;
    if (dots->count == dots->capacity) {
        dots->capacity = 2 * dots->capacity + 1024;
        dots->items = realloc(dots->items, dots->capacity * sizeof *dots->items);
        if (dots->items == NULL)
            fail("no memory");
    }
    dots->items[dots->count++] = *component;
    return FLECK_OK;
}

/* Label, fit and judge. Returns the time of the verdict. */
static double measure(const struct picture *picture, size_t simulations, uint64_t seed,
                      size_t *dot_count, fleck_pattern *pattern)
{
    const fleck_geometry *const geometry = &picture->geometry;
    fleck_random_set_options how = fleck_random_set_options_default();
    fleck_pattern_options options = fleck_pattern_options_default();
    struct dots dots = { NULL, 0, 0, fleck_cutoff_area_px(geometry, 0.1) };
    fleck_run *const runs = room(geometry->width_px / 2 + 1, sizeof *runs);
    fleck_labeller *labeller = NULL;
    fleck_random_set_maker *maker = NULL;
    fleck_random_set set;
    fleck_error err = { FLECK_OK, "" };
    double start;

    how.longest_lag_mm = 1.2;
    if (!(picture->blur_sd_mm > 0))
        how.window_px = 64 * 64; /* openings are not looked at here */
    how.simulations = picture->blur_sd_mm > 0 ? how.simulations : 0;
    if (fleck_labeller_new(geometry->width_px, geometry->height_px, NULL, gather, &dots, &labeller,
                           &err) != FLECK_OK ||
        fleck_random_set_maker_new(geometry, false, &how, &maker, &err) != FLECK_OK)
        fail(err.message);
    for (size_t y = 0; y < geometry->height_px; y++) {
        const unsigned char *const row = picture->ink + y * geometry->width_px;
        size_t n = 0;

        for (size_t x = 0; x < geometry->width_px; x++) {
            if (row[x] && (x == 0 || !row[x - 1]))
                runs[n].start_px = (uint32_t)x;
            if (row[x] && (x + 1 == geometry->width_px || !row[x + 1]))
                runs[n++].end_px = (uint32_t)x + 1;
        }
        if (fleck_labeller_row(labeller, runs, n, &err) != FLECK_OK ||
            fleck_random_set_maker_row(maker, runs, n, NULL, 0, &err) != FLECK_OK)
            fail(err.message);
    }
    if (fleck_labeller_finish(labeller, &err) != FLECK_OK ||
        fleck_random_set_maker_finish(maker, picture->blur_sd_mm, &set, &err) != FLECK_OK)
        fail(err.message);
    options.simulations = simulations > 0 ? simulations : options.simulations;
    options.seed = seed;
    options.least_area_px = dots.least_area_px;
    start = seconds();
    if (fleck_pattern_find(dots.items, dots.count, geometry, NULL, &set.grain.model,
                           picture->blur_sd_mm, &options, pattern, &err) != FLECK_OK)
        fail(err.message);
    start = seconds() - start;
    *dot_count = dots.count;
    fleck_random_set_clear(&set);
    fleck_random_set_maker_free(maker);
    fleck_labeller_free(labeller);
    free(dots.items);
    free(runs);
    return start;
}

static void count_verdicts(size_t patches, double side_mm, size_t simulations, const char *only)
{
    printf("%-20s %8s %9s %9s %9s %9s %9s  (%g mm)\n", "", "patches", "clustered", "random",
           "regular", "none", "ms each", side_mm);
    for (size_t r = 0; r < sizeof recipes / sizeof *recipes; r++) {
        size_t verdicts[4] = { 0 }, dots = 0;
        const size_t count = patches / recipes[r].share > 0 ? patches / recipes[r].share : 1;
        double time = 0;

        if (strncmp(recipes[r].name, only, strlen(only)) != 0)
            continue;
        for (size_t i = 0; i < count; i++) {
            struct picture picture;
            fleck_pattern pattern;

            draw(&recipes[r], side_mm, side_mm, 1000 * r + i + 1, &picture);
            time += measure(&picture, simulations, i + 1, &dots, &pattern);
            verdicts[pattern.order]++;
            fleck_pattern_clear(&pattern);
            free(picture.ink);
        }
        printf("%-20s %8zu %8.1f%% %8.1f%% %8.1f%% %8.1f%% %9.0f\n", recipes[r].name, count,
               100 * (double)verdicts[FLECK_ORDER_CLUSTERED] / (double)count,
               100 * (double)verdicts[FLECK_ORDER_RANDOM] / (double)count,
               100 * (double)verdicts[FLECK_ORDER_REGULAR] / (double)count,
               100 * (double)verdicts[FLECK_ORDER_NONE] / (double)count,
               1000 * time / (double)count);
        fflush(stdout);
    }
}

static void time_page(double coverage)
{
    struct recipe recipe = { "page", RANDOM, coverage, 0.2, 1.3, 0, 0, 1 };

    for (int soft = 0; soft < 2; soft++) {
        struct picture picture;
        fleck_pattern pattern;
        size_t dots;
        double time;

        recipe.softness_mm = soft * 0.02;
        draw(&recipe, 210, 297, 1, &picture);
        time = measure(&picture, 0, 1, &dots, &pattern);
        printf("%zu x %zu px, %zu dots, %s: %.2f s; %zu dots in %.1f x %.1f mm, %s, p = %g\n",
               picture.geometry.width_px, picture.geometry.height_px, dots, soft ? "soft" : "hard",
               time, pattern.dots, pattern.window_width_mm, pattern.window_height_mm,
               pattern.why != NULL ? pattern.why : fleck_order_name(pattern.order),
               pattern.order_p);
        fleck_pattern_clear(&pattern);
        free(picture.ink);
    }
}

int main(int count, char **words)
{
    if (count > 1 && strcmp(words[1], "page") == 0)
        time_page(count > 2 ? strtod(words[2], NULL) : 0.2);
    else
        count_verdicts(count > 1 ? strtoul(words[1], NULL, 10) : 200,
                       count > 2 ? strtod(words[2], NULL) : 15,
                       count > 3 ? strtoul(words[3], NULL, 10) : 99, count > 4 ? words[4] : "");
    return 0;
}
