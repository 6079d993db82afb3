/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <lcms2.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "calibrate/icc.h"
#include "core/parallel.h"
#include "fleck/tone.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

/* Chromaticities: D65 and Rec. 709 of IEC 61966-2-1; Adobe RGB (1998). */
static const cmsCIExyY d65 = { 0.3127, 0.3290, 1.0 };
static const cmsCIExyYTRIPLE rec709 = { { 0.64, 0.33, 1 }, { 0.30, 0.60, 1 }, { 0.15, 0.06, 1 } };
static const cmsCIExyYTRIPLE adobe = { { 0.64, 0.33, 1 }, { 0.21, 0.71, 1 }, { 0.15, 0.06, 1 } };

static const double luminance_weight[] = { 0.2126, 0.7152, 0.0722 }; /* IEC 61966-2-1 */

/* ---- profiles, as they would lie in a file ---- */

typedef struct profile {
    unsigned char *bytes;
    size_t size;
    unsigned channels;
} profile;

static profile save(cmsHPROFILE made, unsigned channels)
{
    profile saved = { .channels = channels };
    cmsUInt32Number size = 0;

    assert_non_null(made);
    assert_true(cmsSaveProfileToMem(made, NULL, &size));
    saved.bytes = malloc(size);
    assert_non_null(saved.bytes);
    assert_true(cmsSaveProfileToMem(made, saved.bytes, &size));
    saved.size = size;
    cmsCloseProfile(made);
    return saved;
}

static cmsHPROFILE make_rgb(const cmsCIExyYTRIPLE *primaries, cmsToneCurve *r, cmsToneCurve *g,
                            cmsToneCurve *b)
{
    cmsToneCurve *const curves[] = { r, g, b };
    cmsHPROFILE made = cmsCreateRGBProfile(&d65, primaries, curves);

    cmsFreeToneCurve(r);
    cmsFreeToneCurve(g);
    cmsFreeToneCurve(b);
    return made;
}

static cmsToneCurve *srgb_table(void)
{
    uint16_t table[1024];

    for (size_t i = 0; i < COUNT(table); i++)
        table[i] = (uint16_t)lround(65535 * fleck_tone_srgb_decode((double)i / 1023));
    return cmsBuildTabulatedToneCurve16(NULL, (cmsUInt32Number)COUNT(table), table);
}

static profile srgb_profile(void)
{
    return save(cmsCreate_sRGBProfile(), 3);
}

static profile adobe_profile(void)
{
    return save(make_rgb(&adobe, cmsBuildGamma(NULL, 563.0 / 256), cmsBuildGamma(NULL, 563.0 / 256),
                         cmsBuildGamma(NULL, 563.0 / 256)),
                3);
}

static profile unlike_curves_profile(void)
{
    return save(make_rgb(&adobe, cmsBuildGamma(NULL, 1.8), cmsBuildGamma(NULL, 2.2),
                         cmsBuildGamma(NULL, 1.0)),
                3);
}

static profile table_curves_profile(void)
{
    return save(make_rgb(&rec709, srgb_table(), srgb_table(), srgb_table()), 3);
}

static profile grey_profile(double gamma)
{
    cmsToneCurve *curve = cmsBuildGamma(NULL, gamma);
    cmsHPROFILE made = cmsCreateGrayProfile(cmsD50_xyY(), curve);

    cmsFreeToneCurve(curve);
    return save(made, 1);
}

static profile grey_18_profile(void)
{
    return grey_profile(1.8);
}

/* A grey curve may lead to L* instead of Y. */
static profile grey_lab_profile(void)
{
    cmsToneCurve *curve = cmsBuildGamma(NULL, 1.0);
    cmsHPROFILE made = cmsCreateGrayProfile(cmsD50_xyY(), curve);

    cmsFreeToneCurve(curve);
    cmsSetPCS(made, cmsSigLabData);
    return save(made, 1);
}

/* An invented device: ink darkens, or light adds; some colour so that the channels differ. */
static cmsInt32Number invented_device(const cmsUInt16Number in[], cmsUInt16Number out[],
                                      void *cargo)
{
    const unsigned channels = *(const unsigned *)cargo;
    double v[4] = { 0 }, lightness, a = 0, b = 0;

    for (unsigned c = 0; c < channels; c++)
        v[c] = in[c] / 65535.0;
    if (channels == 1) {
        lightness = 100 * pow(v[0], 0.8);
    } else if (channels == 3) {
        lightness = 100 * (0.3 * v[0] + 0.6 * v[1] + 0.1 * v[2]);
        a = 40 * (v[0] - v[1]);
        b = 40 * (v[1] - v[2]);
    } else {
        lightness = 100 * (1 - 0.3 * v[0]) * (1 - 0.4 * v[1]) * (1 - 0.1 * v[2]) * (1 - 0.9 * v[3]);
        a = 50 * (v[1] - v[0]) * (1 - v[3]);
        b = 60 * (v[2] - 0.5 * v[0]) * (1 - v[3]);
    }
    out[0] = (uint16_t)lround(655.35 * lightness);
    out[1] = (uint16_t)lround(257 * (a + 128));
    out[2] = (uint16_t)lround(257 * (b + 128));
    return 1;
}

static profile add_tables(cmsHPROFILE made, unsigned channels, cmsTagSignature tag)
{
    cmsPipeline *pipeline = cmsPipelineAlloc(NULL, channels, 3);
    cmsStage *stage = cmsStageAllocCLut16bit(NULL, 9, channels, 3, NULL);
    profile saved;

    assert_true(cmsStageSampleCLut16bit(stage, invented_device, &channels, 0));
    assert_true(cmsPipelineInsertStage(pipeline, cmsAT_BEGIN,
                                       cmsStageAllocToneCurves(NULL, channels, NULL)));
    assert_true(cmsPipelineInsertStage(pipeline, cmsAT_END, stage));
    assert_true(
        cmsPipelineInsertStage(pipeline, cmsAT_END, cmsStageAllocToneCurves(NULL, 3, NULL)));
    cmsSetPCS(made, cmsSigLabData);
    assert_true(cmsWriteTag(made, tag, pipeline));
    saved = save(made, channels);
    cmsPipelineFree(pipeline);
    return saved;
}

static profile table_profile(unsigned channels, cmsColorSpaceSignature space)
{
    const cmsCIEXYZ paper = { 0.80, 0.83, 0.68 }; /* must not enter: white is the profile's own */
    cmsHPROFILE made = cmsCreateProfilePlaceholder(NULL);

    cmsSetProfileVersion(made, 4.3);
    assert_true(cmsWriteTag(made, cmsSigMediaWhitePointTag, &paper));
    cmsSetDeviceClass(made, cmsSigOutputClass);
    cmsSetColorSpace(made, space);
    return add_tables(made, channels, cmsSigAToB0Tag);
}

static profile rgb_table_profile(void)
{
    return table_profile(3, cmsSigRgbData);
}

/* Curves and a matrix are there as well, and say something else. */
static profile rgb_both_profile(void)
{
    return add_tables(cmsCreate_sRGBProfile(), 3, cmsSigAToB1Tag);
}

static profile cmyk_profile(void)
{
    return table_profile(4, cmsSigCmykData);
}

/* Curves and a matrix, which make no CMYK profile. */
static profile cmyk_of_curves_profile(void)
{
    cmsHPROFILE made = cmsCreate_sRGBProfile();

    cmsSetColorSpace(made, cmsSigCmykData);
    return save(made, 4);
}

static profile grey_table_profile(void)
{
    return table_profile(1, cmsSigGrayData);
}

static const struct {
    const char *name;
    profile (*make)(void);
} kinds[] = {
    { "sRGB", srgb_profile },
    { "gamma 2.2 with other primaries", adobe_profile },
    { "three unlike curves", unlike_curves_profile },
    { "curves as tables", table_curves_profile },
    { "grey, gamma 1.8", grey_18_profile },
    { "grey to L*", grey_lab_profile },
    { "grey through tables", grey_table_profile },
    { "RGB through tables", rgb_table_profile },
    { "RGB through tables, though it has curves", rgb_both_profile },
    { "CMYK through tables", cmyk_profile },
};

/* ---- the other way: Little CMS alone, in double ---- */

static cmsHTRANSFORM reference_transform(const profile *p)
{
    static const cmsUInt32Number formats[] = { 0, TYPE_GRAY_DBL, 0, TYPE_RGB_DBL, TYPE_CMYK_DBL };
    cmsHPROFILE from = cmsOpenProfileFromMem(p->bytes, (cmsUInt32Number)p->size);
    cmsHPROFILE to =
        make_rgb(&rec709, cmsBuildGamma(NULL, 1), cmsBuildGamma(NULL, 1), cmsBuildGamma(NULL, 1));
    cmsHTRANSFORM transform =
        cmsCreateTransform(from, formats[p->channels], to, TYPE_RGB_DBL,
                           INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOCACHE | cmsFLAGS_NOOPTIMIZE);

    assert_non_null(transform);
    cmsCloseProfile(from);
    cmsCloseProfile(to);
    return transform;
}

/* Linear sRGB of device values 0 to 1. */
static void reference_linear(cmsHTRANSFORM transform, unsigned channels, const double *device,
                             double rgb[3])
{
    double scaled[4];

    for (unsigned c = 0; c < channels; c++)
        scaled[c] = channels == 4 ? 100 * device[c] : device[c];
    cmsDoTransform(transform, scaled, rgb, 1);
}

static double reference_channel(const double rgb[3], int channel)
{
    double r = 0;

    if (channel != FLECK_CHANNEL_LUMINANCE)
        return rgb[channel - FLECK_CHANNEL_RED];
    for (size_t c = 0; c < 3; c++)
        r += luminance_weight[c] * rgb[c];
    return r;
}

static double cut(double r)
{
    return r < 0 ? 0 : r > 1 ? 1 : r;
}

/* ---- what is tested ---- */

static fleck_scan_info info_of(const profile *p, unsigned sample_bytes, bool has_alpha)
{
    return (fleck_scan_info){ .format = FLECK_SCAN_TIFF,
                              .width_px = 1,
                              .height_px = 1,
                              .bits = 8 * sample_bytes,
                              .sample_bytes = sample_bytes,
                              .channels = p->channels,
                              .has_alpha = has_alpha,
                              .icc = p->bytes,
                              .icc_bytes = p->size,
                              .srgb = true, /* a profile goes before it */
                              .gamma = 0.45455,
                              .page = 1,
                              .pages = 1 };
}

static fleck_tone *tone_of(const fleck_scan_info *info)
{
    fleck_warnings warnings = { 0 };
    fleck_error err = { 0 };
    fleck_tone *tone = NULL;

    if (fleck_tone_new(info, NULL, &tone, &warnings, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    assert_int_equal(warnings.count, info->has_alpha ? 1 : 0);
    fleck_warnings_clear(&warnings);
    assert_int_equal(fleck_tone_get_source(tone), FLECK_TONE_FROM_ICC);
    return tone;
}

static void rows_agree_with_little_cms_in_double(void **state)
{
    enum { PIXELS = 700 }; /* more than two pieces of a row, and a rest */
    static uint16_t wide[PIXELS * 5];
    static uint8_t narrow[PIXELS * 5];
    static uint16_t all[FLECK_CHANNELS][PIXELS], one[PIXELS];
    uint16_t *const q[FLECK_CHANNELS] = { all[0], all[1], all[2], all[3] };
    uint64_t seed = 11;

    (void)state;
    for (unsigned i = 0; i < COUNT(kinds) * 4; i++) {
        const profile p = kinds[i / 4].make();
        const unsigned bytes = 1 + i % 2, full = bytes == 1 ? 255 : 65535;
        const bool has_alpha = i % 4 >= 2;
        const size_t step = p.channels + (has_alpha ? 1u : 0u);
        const fleck_scan_info info = info_of(&p, bytes, has_alpha);
        fleck_tone *tone = tone_of(&info);
        cmsHTRANSFORM transform = reference_transform(&p);
        const void *const row = bytes == 1 ? (const void *)narrow : (const void *)wide;

        for (size_t k = 0; k < PIXELS * step; k++) {
            wide[k] = (uint16_t)test_random(&seed);
            narrow[k] = (uint8_t)wide[k];
        }
        fleck_tone_row_all(tone, row, PIXELS, q);
        for (unsigned t = 0; t < fleck_tone_channels(tone); t++) {
            fleck_tone_row(tone, (fleck_channel)t, row, PIXELS, one);
            assert_memory_equal(one, all[t], sizeof one);
            for (size_t k = 0; k < PIXELS; k++) {
                double device[5] = { 0 }, rgb[3], r;

                for (size_t c = 0; c < step; c++)
                    device[c] =
                        (double)(bytes == 1 ? narrow[k * step + c] : wide[k * step + c]) / full;
                reference_linear(transform, p.channels, device, rgb);
                r = reference_channel(rgb, (int)t);
                if (has_alpha)
                    r = device[p.channels] * r + (1 - device[p.channels]);
                /* half a step of q, what floats lose, and the 16-bit steps of its tables */
                check_near(kinds[i / 4].name, one[k] / 65535.0, cut(r),
                           0.5 / 65535 +
                               (kinds[i / 4].make == table_curves_profile ? 1.6 / 65535 : 1e-6));
            }
        }
        cmsDeleteTransform(transform);
        fleck_tone_free(tone);
        free(p.bytes);
    }
}

static void curves_and_matrix_are_what_the_transform_does(void **state)
{
    static double curve[3][256];

    (void)state;
    for (size_t i = 0; i < 3; i++) { /* the kinds whose curves are formulas */
        const profile p = kinds[i].make();
        cmsHTRANSFORM transform = reference_transform(&p);
        double matrix[3][3];
        fleck_icc *icc = NULL;
        uint64_t seed = i;

        assert_int_equal(fleck_icc_open(p.bytes, p.size, 3, &icc, NULL), FLECK_OK);
        assert_true(fleck_icc_has_curves(icc));
        assert_int_equal(fleck_icc_read_matrix(icc, matrix, NULL), FLECK_OK);
        for (unsigned c = 0; c < 3; c++)
            assert_int_equal(fleck_icc_read_curve(icc, c, 256, curve[c], NULL), FLECK_OK);
        for (size_t k = 0; k < 2000; k++) {
            unsigned code[3];
            double device[3], rgb[3];

            for (size_t c = 0; c < 3; c++) {
                code[c] = (unsigned)(test_random(&seed) % 256);
                device[c] = code[c] / 255.0;
            }
            reference_linear(transform, 3, device, rgb);
            for (size_t r = 0; r < 3; r++)
                check_near(kinds[i].name,
                           matrix[r][0] * curve[0][code[0]] + matrix[r][1] * curve[1][code[1]] +
                               matrix[r][2] * curve[2][code[2]],
                           rgb[r], 1e-6);
        }
        cmsDeleteTransform(transform);
        fleck_icc_free(icc);
        free(p.bytes);
    }
    fleck_icc_free(NULL);
}

static void other_primaries_become_those_of_srgb(void **state)
{
    /* Worked out with 30 digits from the chromaticities of both spaces, which share white, red and
       blue, so that no adaptation enters; the profile stores its colorants in steps of 1.5e-5. */
    static const double expected[3][3] = {
        { 1.39835574396079, -0.398355743960792, 0 },
        { 0, 1, 0 },
        { 0, -0.0429289892944738, 1.04292898929452 },
    };
    const profile p = adobe_profile();
    double matrix[3][3];
    fleck_icc *icc = NULL;

    (void)state;
    assert_int_equal(fleck_icc_open(p.bytes, p.size, 3, &icc, NULL), FLECK_OK);
    assert_int_equal(fleck_icc_read_matrix(icc, matrix, NULL), FLECK_OK);
    for (size_t i = 0; i < 9; i++)
        check_near("Adobe RGB (1998) to sRGB, both linear", matrix[i / 3][i % 3],
                   expected[i / 3][i % 3], 6e-5);
    fleck_icc_free(icc);
    free(p.bytes);
}

static void an_embedded_srgb_profile_gives_nearly_the_srgb_curve(void **state)
{
    const profile profiles[] = { srgb_profile(), table_curves_profile() };

    (void)state;
    for (size_t i = 0; i < COUNT(profiles); i++) {
        fleck_scan_info info = info_of(&profiles[i], 1, false);
        fleck_tone *with = tone_of(&info), *without = NULL;
        fleck_warnings warnings = { 0 };
        uint64_t seed = 3;

        info.icc = NULL;
        assert_int_equal(fleck_tone_new(&info, NULL, &without, &warnings, NULL), FLECK_OK);
        for (size_t k = 0; k < 20000; k++) {
            const int channel = (int)(k % FLECK_CHANNELS);
            const uint64_t bits = k == 0 ? UINT64_MAX : test_random(&seed);
            uint16_t a, b;

            fleck_tone_row(with, (fleck_channel)channel, &bits, 1, &a);
            fleck_tone_row(without, (fleck_channel)channel, &bits, 1, &b);
            /* the profile's numbers are rounded to 2^-16, and the matrix triples that */
            check_near("sRGB as a profile and as a formula", a, b, 4);
        }
        fleck_tone_free(with);
        fleck_tone_free(without);
        free(profiles[i].bytes);
    }
}

static void grey_profiles_give_relative_luminance(void **state)
{
    static double curve[65536];
    static const struct {
        const char *source;
        profile (*make)(void);
        double code, luminance;
    } cases[] = {
        { "gamma 1.8: white", grey_18_profile, 1, 1 },
        { "gamma 1.8: 0.5^1.8", grey_18_profile, 0.5, 0.28717458874925877 },
        { "gamma 1.8: black", grey_18_profile, 0, 0 },
        { "L* = 100 code: white", grey_lab_profile, 1, 1 },
        { "CIE 15: L* 50 is Y 0.18418651851244414", grey_lab_profile, 0.5, 0.18418651851244414 },
        { "CIE 15: L* 4 is Y 4 * 27 / 24389", grey_lab_profile, 0.04, 108.0 / 24389 },
        { "tables: white", grey_table_profile, 1, 1 },
        { "tables: black", grey_table_profile, 0, 0 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const profile p = cases[i].make();
        fleck_icc *icc = NULL;
        double at;
        size_t below;

        assert_int_equal(fleck_icc_open(p.bytes, p.size, 1, &icc, NULL), FLECK_OK);
        assert_true(fleck_icc_has_curves(icc));
        assert_int_equal(fleck_icc_read_curve(icc, 0, 65536, curve, NULL), FLECK_OK);
        at = 65535 * cases[i].code;
        below = (size_t)at;
        check_near(cases[i].source,
                   below == 65535
                       ? curve[below]
                       : curve[below] + (at - (double)below) * (curve[below + 1] - curve[below]),
                   cases[i].luminance, 1e-5);
        fleck_icc_free(icc);
        free(p.bytes);
    }
}

/* The same codes three times over in an RGB scan with the same profile. */
static void grey_with_an_rgb_profile_is_what_equal_rgb_is(void **state)
{
    profile (*const makers[])(void) = { srgb_profile, adobe_profile, unlike_curves_profile,
                                        table_curves_profile, rgb_table_profile, rgb_both_profile };

    (void)state;
    for (unsigned i = 0; i < COUNT(makers) * 2; i++) {
        const profile p = makers[i / 2]();
        const unsigned bytes = 1 + i % 2;
        fleck_scan_info info = info_of(&p, bytes, false);
        fleck_tone *rgb = tone_of(&info), *grey = NULL;
        fleck_warnings warnings = { 0 };

        info.channels = 1;
        assert_int_equal(fleck_tone_new(&info, NULL, &grey, &warnings, NULL), FLECK_OK);
        assert_int_equal(fleck_tone_get_source(grey), FLECK_TONE_FROM_ICC);
        assert_int_equal(warnings.count, 1);
        assert_string_equal(warnings.items[0].code, "grey-as-rgb");
        for (unsigned code = 0; code < 256; code++) {
            const uint8_t narrow[3] = { (uint8_t)code, (uint8_t)code, (uint8_t)code };
            const uint16_t wide_code = (uint16_t)(code * 257);
            const uint16_t wide[3] = { wide_code, wide_code, wide_code };
            const void *const row = bytes == 1 ? (const void *)narrow : (const void *)wide;
            uint16_t a, b;

            fleck_tone_row(grey, FLECK_CHANNEL_LUMINANCE, row, 1, &a);
            fleck_tone_row(rgb, FLECK_CHANNEL_LUMINANCE, row, 1, &b);
            check_near("grey as R = G = B", a, b, 1);
        }
        fleck_warnings_clear(&warnings);
        fleck_tone_free(rgb);
        fleck_tone_free(grey);
        free(p.bytes);
    }
}

static void a_grey_scan_with_an_srgb_profile_has_the_srgb_curve(void **state)
{
    const profile p = srgb_profile();
    double curve[256];
    fleck_icc *icc = NULL;

    (void)state;
    assert_int_equal(fleck_icc_open(p.bytes, p.size, 1, &icc, NULL), FLECK_OK);
    assert_true(fleck_icc_is_for_rgb(icc));
    assert_int_equal(fleck_icc_read_curve(icc, 0, 256, curve, NULL), FLECK_OK);
    for (unsigned i = 0; i < 256; i++)
        check_near("IEC 61966-2-1", curve[i], fleck_tone_srgb_decode(i / 255.0), 3e-5);
    fleck_icc_free(icc);
    free(p.bytes);
}

static void a_curve_given_as_a_table_is_read_between_its_nodes(void **state)
{
    /* ICC.1, curveType: linear between nodes; by hand, nodes 0, 0.2, 1 at codes 0, 0.5, 1 */
    uint16_t nodes[] = { 0, 13107, 65535 };
    cmsToneCurve *table = cmsBuildTabulatedToneCurve16(NULL, 3, nodes);
    const profile p = save(cmsCreateGrayProfile(cmsD50_xyY(), table), 1);
    double curve[256];
    fleck_icc *icc = NULL;

    (void)state;
    cmsFreeToneCurve(table);
    assert_int_equal(fleck_icc_open(p.bytes, p.size, 1, &icc, NULL), FLECK_OK);
    assert_int_equal(fleck_icc_read_curve(icc, 0, 256, curve, NULL), FLECK_OK);
    for (unsigned i = 0; i < 256; i++) {
        const double code = i / 255.0;

        check_near("nodes 0, 0.2, 1", curve[i], code < 0.5 ? 0.4 * code : 0.2 + 1.6 * (code - 0.5),
                   1e-12);
    }
    fleck_icc_free(icc);
    free(p.bytes);
}

static void bare_paper_in_cmyk_is_white_and_full_ink_dark(void **state)
{
    /* the invented device by hand: black ink alone has L* 10, that is Y = (26/116)^3 */
    static const struct {
        const char *source;
        uint8_t pixel[4];
        double luminance;
    } cases[] = {
        { "no ink", { 0, 0, 0, 0 }, 1 },
        { "black ink", { 0, 0, 0, 255 }, 17576.0 / 1560896.0 },
    };
    const profile p = cmyk_profile();
    const fleck_scan_info info = info_of(&p, 1, false);
    fleck_tone *tone = tone_of(&info);

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        uint16_t q;

        fleck_tone_row(tone, FLECK_CHANNEL_LUMINANCE, cases[i].pixel, 1, &q);
        check_near(cases[i].source, q / 65535.0, cases[i].luminance, 2e-5);
    }
    assert_int_equal(fleck_tone_channels(tone), FLECK_CHANNELS);
    fleck_tone_free(tone);
    free(p.bytes);
}

enum { SHARED_ROWS = 64, SHARED_PIXELS = 1000 };

typedef struct shared_work {
    const fleck_tone *tone;
    const uint8_t *pixels;
    uint16_t (*q)[SHARED_PIXELS];
} shared_work;

static void convert_one_row(void *context, unsigned worker, size_t i)
{
    const shared_work *work = context;

    (void)worker;
    fleck_tone_row(work->tone, (fleck_channel)(i % FLECK_CHANNELS), work->pixels, SHARED_PIXELS,
                   work->q[i]);
}

static void threads_may_share_a_tone(void **state)
{
    static uint8_t pixels[SHARED_PIXELS * 4];
    static uint16_t alone[SHARED_ROWS][SHARED_PIXELS], together[SHARED_ROWS][SHARED_PIXELS];
    uint64_t seed = 8;

    (void)state;
    for (size_t i = 0; i < sizeof pixels; i++)
        pixels[i] = (uint8_t)test_random(&seed);
    for (size_t i = 0; i < COUNT(kinds); i++) {
        const profile p = kinds[i].make();
        const fleck_scan_info info = info_of(&p, 1, false);
        fleck_tone *tone = tone_of(&info);
        shared_work work = { .tone = tone, .pixels = pixels, .q = alone };

        fleck_parallel_for(1, SHARED_ROWS, convert_one_row, &work);
        work.q = together;
        fleck_parallel_for(2, SHARED_ROWS, convert_one_row, &work);
        assert_memory_equal(alone, together, sizeof alone);
        fleck_tone_free(tone);
        free(p.bytes);
    }
}

static void check_refused(const fleck_scan_info *info, const char *message)
{
    fleck_warnings warnings = { 0 };
    fleck_error err = { 0 };
    fleck_tone *tone = (fleck_tone *)&err;

    assert_int_equal(fleck_tone_new(info, NULL, &tone, &warnings, &err), FLECK_BAD_INPUT);
    assert_string_equal(err.message, message);
    assert_null(tone);
    assert_int_equal(warnings.count, 0);
}

static void a_profile_for_other_pixels_is_refused(void **state)
{
    static const struct {
        profile (*make)(void);
        unsigned channels;
        const char *what;
    } cases[] = {
        { cmyk_profile, 1, "CMYK pixels, the scan's pixels are grey" },
        { rgb_table_profile, 4, "RGB pixels, the scan's pixels are CMYK" },
        { grey_18_profile, 3, "grey pixels, the scan's pixels are RGB" },
        { cmyk_profile, 3, "CMYK pixels, the scan's pixels are RGB" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const profile p = cases[i].make();
        fleck_scan_info info = info_of(&p, 1, false);
        char message[512];

        info.channels = cases[i].channels;
        snprintf(message, sizeof message,
                 "the embedded profile is for %s; embed the profile that belongs to the scan, or "
                 "save the scan without one and calibrate",
                 cases[i].what);
        check_refused(&info, message);
        free(p.bytes);
    }
}

static void a_profile_of_no_device_is_refused(void **state)
{
    cmsHPROFILE link = cmsCreateInkLimitingDeviceLink(cmsSigCmykData, 200);
    const profile p = save(link, 4);
    const fleck_scan_info info = info_of(&p, 1, false);

    (void)state;
    check_refused(&info,
                  "the embedded profile does not describe a device (it is a link, an abstract "
                  "or a named-colour profile); embed the scanner's profile");
    free(p.bytes);
}

static const char damaged[] = "the embedded colour profile is damaged; embed the scanner's profile "
                              "anew, or save the scan without one and calibrate";

static void a_profile_cut_short_is_refused(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(kinds); i++) {
        const profile p = kinds[i].make();

        for (size_t size = 0; size < p.size; size += size < 140 ? 1 : p.size / 40 + 1) {
            fleck_scan_info info = info_of(&p, 1, false);
            unsigned char *cut_short = malloc(size > 0 ? size : 1); /* so that ASan sees its end */

            assert_non_null(cut_short);
            memcpy(cut_short, p.bytes, size);
            info.icc = cut_short;
            info.icc_bytes = size;
            check_refused(&info, damaged);
            free(cut_short);
        }
        free(p.bytes);
    }
}

/* Every tag or type of that name becomes an unknown one; the header is left as it is. */
static void make_unknown(profile *p, const char *name)
{
    bool found = false;

    for (size_t i = 128; i + 4 <= p->size; i++) {
        if (memcmp(p->bytes + i, name, 4) == 0) {
            memcpy(p->bytes + i, "none", 4);
            found = true;
        }
    }
    assert_true(found);
}

static void a_profile_that_lacks_a_part_is_refused(void **state)
{
    static const struct {
        profile (*make)(void);
        const char *name;
    } cases[] = {
        { srgb_profile, "gTRC" },      { srgb_profile, "bXYZ" },
        { grey_18_profile, "kTRC" },   { cmyk_profile, "A2B0" },
        { rgb_table_profile, "A2B0" }, { grey_table_profile, "A2B0" },
        { srgb_profile, "para" },      { srgb_profile, "XYZ " },
        { rgb_table_profile, "mAB " }, { grey_table_profile, "mAB " },
        { rgb_both_profile, "mAB " },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        profile p = cases[i].make();
        const fleck_scan_info info = info_of(&p, 1, false);

        make_unknown(&p, cases[i].name);
        check_refused(&info, damaged);
        free(p.bytes);
    }
}

static void a_cmyk_profile_without_tables_is_refused(void **state)
{
    const profile p = cmyk_of_curves_profile();
    const fleck_scan_info info = info_of(&p, 1, false);

    (void)state;
    check_refused(&info, damaged);
    free(p.bytes);
}

static void a_hostile_profile_is_refused_or_gives_some_tone(void **state)
{
    uint64_t seed = 99;
    size_t refused = 0, taken = 0;

    (void)state;
    for (size_t i = 0; i < COUNT(kinds) * 60; i++) {
        const profile p = kinds[i % COUNT(kinds)].make();
        const fleck_scan_info info = info_of(&p, 1, false);
        const uint64_t pixels[4] = { 0, UINT64_MAX, test_random(&seed), test_random(&seed) };
        fleck_warnings warnings = { 0 };
        fleck_error err = { 0 };
        fleck_tone *tone = NULL;

        /* mostly where sizes, offsets and types stand */
        for (uint64_t changes = 1 + test_random(&seed) % 4; changes > 0; changes--) {
            const size_t span = test_random(&seed) % 4 == 0 || p.size < 700 ? p.size : 700;

            p.bytes[test_random(&seed) % span] = (unsigned char)test_random(&seed);
        }
        if (fleck_tone_new(&info, NULL, &tone, &warnings, &err) == FLECK_OK) {
            for (unsigned t = 0; t < FLECK_CHANNELS; t++) {
                uint16_t q[8];

                fleck_tone_row(tone, (fleck_channel)t, pixels, sizeof pixels / 4, q);
            }
            taken++;
        } else {
            assert_int_equal(err.status, FLECK_BAD_INPUT);
            assert_null(tone);
            refused++;
        }
        fleck_tone_free(tone);
        fleck_warnings_clear(&warnings);
        free(p.bytes);
    }
    assert_true(refused > 50 && taken > 50); /* else the changes say nothing */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_agree_with_little_cms_in_double),
        cmocka_unit_test(curves_and_matrix_are_what_the_transform_does),
        cmocka_unit_test(other_primaries_become_those_of_srgb),
        cmocka_unit_test(an_embedded_srgb_profile_gives_nearly_the_srgb_curve),
        cmocka_unit_test(grey_profiles_give_relative_luminance),
        cmocka_unit_test(grey_with_an_rgb_profile_is_what_equal_rgb_is),
        cmocka_unit_test(a_grey_scan_with_an_srgb_profile_has_the_srgb_curve),
        cmocka_unit_test(a_curve_given_as_a_table_is_read_between_its_nodes),
        cmocka_unit_test(bare_paper_in_cmyk_is_white_and_full_ink_dark),
        cmocka_unit_test(threads_may_share_a_tone),
        cmocka_unit_test(a_profile_for_other_pixels_is_refused),
        cmocka_unit_test(a_profile_of_no_device_is_refused),
        cmocka_unit_test(a_profile_cut_short_is_refused),
        cmocka_unit_test(a_profile_that_lacks_a_part_is_refused),
        cmocka_unit_test(a_cmyk_profile_without_tables_is_refused),
        cmocka_unit_test(a_hostile_profile_is_refused_or_gives_some_tone),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
