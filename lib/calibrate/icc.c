/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A profile made of curves and a matrix is read and left to the caller's tables, which are exact in
 * double and fast; any other goes pixel by pixel through Little CMS to the connection space, XYZ
 * under D50. Both end in the same matrix from there to linear sRGB. Grey pixels may come with a profile
 * for RGB: they are what R = G = B would be, which is one curve whatever the profile is made of.
 * Source: ICC.1 (profile format, curve and colorant tags), Little CMS 2.
 */
#include "calibrate/icc.h"

#include <assert.h>
#include <lcms2.h>
#include <math.h>
#include <stdint.h>

#include "core/memory.h"

struct fleck_icc {
    cmsContext context;
    cmsHPROFILE profile;
    cmsHTRANSFORM transform; /* device floats to XYZ floats, NULL when the profile has curves */
    unsigned channels; /* of the pixels */
    unsigned samples;  /* that the profile asks for: the same, or 3 for grey pixels */
};

static const double luminance_weight[3] = { 0.2126, 0.7152, 0.0722 }; /* IEC 61966-2-1 */

/*
 * XYZ under D50 (0.9642, 1, 0.8249) to linear sRGB: inverse of the sRGB primaries and white
 * (0.3127, 0.3290) of IEC 61966-2-1, adapted to D50 by the Bradford transform as ICC.1 asks for.
 */
static const double srgb_from_xyz[3][3] = {
    { 3.1341863642368190, -1.6172089589982748, -0.49069406400638392 },
    { -0.9787485041906944, 1.9161300967735872, 0.033433399159995541 },
    { 0.071963927802246736, -0.22899387345320328, 1.4057537328964444 },
};

static fleck_status fail_damaged(fleck_error *err)
{
    return fleck_fail(
        err, FLECK_BAD_INPUT,
        "the embedded colour profile is damaged; embed the scanner's profile anew, or "
        "save the scan without one and calibrate");
}

static fleck_status fail_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a colour profile; free some memory");
}

static const char *pixel_name(unsigned channels)
{
    return channels == 1 ? "grey" : channels == 3 ? "RGB" : "CMYK";
}

static const char *space_name(cmsColorSpaceSignature space)
{
    switch (space) {
    case cmsSigGrayData:
        return "grey";
    case cmsSigRgbData:
        return "RGB";
    case cmsSigCmykData:
        return "CMYK";
    case cmsSigLabData:
        return "Lab";
    default:
        return "other";
    }
}

static fleck_status check_kind(fleck_icc *icc, fleck_error *err)
{
    const cmsColorSpaceSignature wanted = icc->channels == 1   ? cmsSigGrayData
                                          : icc->channels == 3 ? cmsSigRgbData
                                                               : cmsSigCmykData;
    const cmsColorSpaceSignature space = cmsGetColorSpace(icc->profile);
    const cmsProfileClassSignature kind = cmsGetDeviceClass(icc->profile);

    if (kind != cmsSigInputClass && kind != cmsSigDisplayClass && kind != cmsSigOutputClass &&
        kind != cmsSigColorSpaceClass)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the embedded profile does not describe a device (it is a link, an "
                          "abstract or a named-colour profile); embed the scanner's profile");
    icc->samples = icc->channels == 1 && space == cmsSigRgbData ? 3 : icc->channels;
    if (space != wanted && icc->samples == icc->channels)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the embedded profile is for %s pixels, the scan's pixels are %s; embed "
                          "the profile that belongs to the scan, or save the scan without one and "
                          "calibrate",
                          space_name(space), pixel_name(icc->channels));
    if (cmsGetPCS(icc->profile) != cmsSigXYZData && cmsGetPCS(icc->profile) != cmsSigLabData)
        return fail_damaged(err);
    return FLECK_OK;
}

/* Tables win over curves where a profile has both; these are the tags Little CMS looks for. */
static bool has_tables(cmsHPROFILE profile)
{
    return cmsIsTag(profile, cmsSigDToB1Tag) || cmsIsTag(profile, cmsSigAToB1Tag) ||
           cmsIsTag(profile, cmsSigAToB0Tag);
}

static fleck_status make_transform(fleck_icc *icc, fleck_error *err)
{
    static const cmsUInt32Number formats[] = { 0, TYPE_GRAY_FLT, 0, TYPE_RGB_FLT, TYPE_CMYK_FLT };
    cmsHPROFILE xyz = cmsCreateXYZProfileTHR(icc->context);

    if (xyz == NULL)
        return fail_memory(err);
    icc->transform =
        cmsCreateTransformTHR(icc->context, icc->profile, formats[icc->samples], xyz, TYPE_XYZ_FLT,
                              INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOCACHE);
    cmsCloseProfile(xyz);
    return icc->transform != NULL ? FLECK_OK : fail_damaged(err);
}

/* A table is taken at its 16-bit nodes and read between them in double; Little CMS would round. */
static double table_value(const cmsUInt16Number *table, size_t entries, double code)
{
    const double place = code * (double)(entries - 1);
    const size_t i = (size_t)place;

    if (i >= entries - 1)
        return table[entries - 1] / 65535.0;
    return (table[i] + (place - (double)i) * (table[i + 1] - table[i])) / 65535.0;
}

static double lightness_to_luminance(double lightness)
{
    const double root = (lightness + 16.0) / 116.0;

    return lightness > 8.0 ? root * root * root : lightness * 27.0 / 24389.0; /* CIE 15 */
}

static fleck_status read_curve_tag(const fleck_icc *icc, cmsTagSignature tag, size_t levels,
                                   double *linear, fleck_error *err)
{
    const cmsToneCurve *curve = cmsReadTag(icc->profile, tag);
    const bool grey_lightness = icc->samples == 1 && cmsGetPCS(icc->profile) == cmsSigLabData;
    const cmsUInt16Number *table;
    size_t entries;
    bool tabled;

    if (curve == NULL)
        return fail_damaged(err);
    table = cmsGetToneCurveEstimatedTable(curve);
    entries = cmsGetToneCurveEstimatedTableEntries(curve);
    tabled = cmsGetToneCurveParametricType(curve) == 0 && !cmsIsToneCurveMultisegment(curve) &&
             table != NULL && entries > 0;
    for (size_t i = 0; i < levels; i++) {
        const double code = (double)i / (double)(levels - 1);
        const double value = tabled ? table_value(table, entries, code)
                                    : (double)cmsEvalToneCurveFloat(curve, (float)code);

        /* a grey curve leads to the achromatic axis of the connection space: Y, or L* for Lab */
        linear[i] = grey_lightness ? lightness_to_luminance(100.0 * value) : value;
        if (!isfinite(linear[i]))
            return fail_damaged(err);
    }
    return FLECK_OK;
}

static void srgb_of_xyz(const float xyz[3], double rgb[3])
{
    for (size_t row = 0; row < 3; row++)
        rgb[row] = srgb_from_xyz[row][0] * (double)xyz[0] + srgb_from_xyz[row][1] * (double)xyz[1] +
                   srgb_from_xyz[row][2] * (double)xyz[2];
}

static double luminance_of(const double rgb[3])
{
    return luminance_weight[0] * rgb[0] + luminance_weight[1] * rgb[1] + luminance_weight[2] * rgb[2];
}

/* A grey profile with tables is a curve all the same: every code is sent through them once. */
static fleck_status read_grey_tables(const fleck_icc *icc, size_t levels, double *linear,
                                     fleck_error *err)
{
    float device[FLECK_ICC_CHUNK * 3];
    float xyz[FLECK_ICC_CHUNK * 3];

    for (size_t start = 0; start < levels; start += FLECK_ICC_CHUNK) {
        const size_t count = levels - start < FLECK_ICC_CHUNK ? levels - start : FLECK_ICC_CHUNK;

        for (size_t i = 0; i < count * icc->samples; i++)
            device[i] = (float)((double)(start + i / icc->samples) / (double)(levels - 1));
        cmsDoTransform(icc->transform, device, xyz, (cmsUInt32Number)count);
        for (size_t i = 0; i < count; i++) {
            double rgb[3];

            srgb_of_xyz(&xyz[3 * i], rgb);
            linear[start + i] = icc->samples == 1 ? (double)xyz[3 * i + 1] : luminance_of(rgb);
            if (!isfinite(linear[start + i]))
                return fail_damaged(err);
        }
    }
    return FLECK_OK;
}

static fleck_status read_matrix(const fleck_icc *icc, double matrix[3][3], fleck_error *err)
{
    static const cmsTagSignature tags[] = { cmsSigRedColorantTag, cmsSigGreenColorantTag,
                                            cmsSigBlueColorantTag };

    for (size_t column = 0; column < 3; column++) {
        const cmsCIEXYZ *xyz = cmsReadTag(icc->profile, tags[column]);

        if (xyz == NULL)
            return fail_damaged(err);
        for (size_t row = 0; row < 3; row++) {
            matrix[row][column] = srgb_from_xyz[row][0] * xyz->X + srgb_from_xyz[row][1] * xyz->Y +
                                  srgb_from_xyz[row][2] * xyz->Z;
            if (!isfinite(matrix[row][column]))
                return fail_damaged(err);
        }
    }
    return FLECK_OK;
}

static const cmsTagSignature rgb_curves[] = { cmsSigRedTRCTag, cmsSigGreenTRCTag, cmsSigBlueTRCTag };

/* Luminance of R = G = B, out of three curves and a matrix. */
static fleck_status read_grey_of_rgb(const fleck_icc *icc, size_t levels, double *linear,
                                     fleck_error *err)
{
    double *const curve = fleck_alloc_array(levels, sizeof *curve);
    double matrix[3][3];
    fleck_status status;

    if (curve == NULL)
        return fail_memory(err);
    for (size_t i = 0; i < levels; i++)
        linear[i] = 0;
    status = read_matrix(icc, matrix, err);
    for (size_t c = 0; status == FLECK_OK && c < 3; c++) {
        status = read_curve_tag(icc, rgb_curves[c], levels, curve, err);
        for (size_t i = 0; status == FLECK_OK && i < levels; i++)
            linear[i] +=
                luminance_of((double[3]){ matrix[0][c], matrix[1][c], matrix[2][c] }) * curve[i];
    }
    fleck_free(curve);
    return status;
}

bool fleck_icc_has_curves(const fleck_icc *icc)
{
    return icc->channels == 1 || icc->transform == NULL;
}

bool fleck_icc_is_for_rgb(const fleck_icc *icc)
{
    return icc->samples == 3;
}

fleck_status fleck_icc_read_curve(const fleck_icc *icc, unsigned sample, size_t levels,
                                  double *linear, fleck_error *err)
{
    assert(fleck_icc_has_curves(icc) && sample < icc->channels && levels > 1);
    if (icc->transform != NULL)
        return read_grey_tables(icc, levels, linear, err);
    if (icc->channels == 1 && icc->samples == 3)
        return read_grey_of_rgb(icc, levels, linear, err);
    return read_curve_tag(icc, icc->channels == 1 ? cmsSigGrayTRCTag : rgb_curves[sample], levels,
                          linear, err);
}

fleck_status fleck_icc_read_matrix(const fleck_icc *icc, double matrix[3][3], fleck_error *err)
{
    assert(icc->channels == 3 && icc->transform == NULL);
    return read_matrix(icc, matrix, err);
}

void fleck_icc_to_linear(const fleck_icc *icc, const float *device, size_t count, double *rgb)
{
    float scaled[FLECK_ICC_CHUNK * 4];
    float xyz[FLECK_ICC_CHUNK * 3];

    assert(icc->transform != NULL && count <= FLECK_ICC_CHUNK);
    if (icc->channels == 4) {
        for (size_t i = 0; i < 4 * count; i++)
            scaled[i] = 100.0f * device[i]; /* Little CMS wants ink in per cent */
        device = scaled;
    }
    cmsDoTransform(icc->transform, device, xyz, (cmsUInt32Number)count);
    for (size_t i = 0; i < count; i++)
        srgb_of_xyz(&xyz[3 * i], &rgb[3 * i]);
}

void fleck_icc_free(fleck_icc *icc)
{
    if (icc == NULL)
        return;
    if (icc->transform != NULL)
        cmsDeleteTransform(icc->transform);
    if (icc->profile != NULL)
        cmsCloseProfile(icc->profile);
    if (icc->context != NULL)
        cmsDeleteContext(icc->context);
    fleck_free(icc);
}

/* The size a profile states in its first four bytes; a profile cut short loses tags unnoticed. */
static bool is_whole(const void *bytes, size_t size)
{
    const unsigned char *b = bytes;

    return size >= 128 && size <= UINT32_MAX &&
           ((size_t)b[0] << 24 | (size_t)b[1] << 16 | (size_t)b[2] << 8 | (size_t)b[3]) <= size;
}

fleck_status fleck_icc_open(const void *bytes, size_t size, unsigned channels, fleck_icc **out,
                            fleck_error *err)
{
    fleck_icc *icc = NULL;
    fleck_status status;

    *out = NULL;
    assert(channels == 1 || channels == 3 || channels == 4);
    if (!is_whole(bytes, size))
        return fail_damaged(err);
    icc = fleck_alloc_zeroed(1, sizeof *icc);
    if (icc == NULL || (icc->context = cmsCreateContext(NULL, NULL)) == NULL) {
        status = fail_memory(err);
        goto done;
    }
    icc->channels = channels;
    icc->profile = cmsOpenProfileFromMemTHR(icc->context, bytes, (cmsUInt32Number)size);
    if (icc->profile == NULL) {
        status = fail_damaged(err);
        goto done;
    }
    if ((status = check_kind(icc, err)) != FLECK_OK)
        goto done;
    if (has_tables(icc->profile))
        status = make_transform(icc, err);
    else if (channels == 4 || !cmsIsMatrixShaper(icc->profile))
        status = fail_damaged(err);
    if (status == FLECK_OK) {
        *out = icc; /* the caller owns it from here */
        icc = NULL;
    }
done:
    fleck_icc_free(icc);
    return status;
}
