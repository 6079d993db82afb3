/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calibration_account.h"

#include <math.h>

static const char *channel_name(const fleck_calibration *calibration, unsigned t)
{
    return calibration->channels == 1 ? "grey" : fleck_channel_name((fleck_channel)t);
}

static const char *colour_name(const fleck_calibration *calibration, unsigned c)
{
    return calibration->channels == 1 ? "grey" : fleck_channel_name((fleck_channel)(c + 1));
}

/* " +- 0.2", nothing where it is not known */
static const char *plus_minus(char text[32], double value)
{
    text[0] = '\0';
    if (isfinite(value))
        snprintf(text, 32, " +- %.2g", value);
    return text;
}

static void print_scanner(FILE *out, const fleck_calibration *calibration)
{
    fprintf(out, "scanner   %u-bit %s", calibration->bits,
            calibration->channels == 1 ? "grey" : "RGB");
    if (calibration->claimed_ppi_x > 0)
        fprintf(out, ", scans claim %.6g x %.6g ppi\n", calibration->claimed_ppi_x,
                calibration->claimed_ppi_y);
    else
        fputs(", scans claim no ppi\n", out);
}

static void print_length(FILE *out, const fleck_calibration_length *length)
{
    char a[32], b[32];

    if (length->mark_count == 0)
        return;
    fprintf(out, "length    %.6g%s ppi along x, %.6g%s along y (standard errors)\n", length->ppi_x,
            plus_minus(a, length->ppi_x_se), length->ppi_y, plus_minus(b, length->ppi_y_se));
    for (size_t i = 0; i < length->mark_count; i++) {
        const fleck_length_mark *const m = &length->marks[i];

        fprintf(out, "          %g mm from %g,%g to %g,%g: off by %+.4f mm\n", m->length_mm,
                m->x1_px, m->y1_px, m->x2_px, m->y2_px, m->residual_mm);
    }
}

static void print_residual(FILE *out, const fleck_tone_step *step, unsigned c)
{
    if (step->clipped[c] != FLECK_CLIP_NONE)
        fprintf(out, "  %7.4f  clipped", step->code[c]);
    else if (isfinite(step->residual_density[c]))
        fprintf(out, "  %7.4f  %+7.3f", step->code[c], step->residual_density[c]);
    else
        fprintf(out, "  %7.4f      end", step->code[c]);
}

static void print_tone(FILE *out, const fleck_calibration *calibration)
{
    const fleck_calibration_tone *const tone = &calibration->tone;

    if (tone->step_count == 0)
        return;
    for (unsigned c = 0; c < calibration->channels; c++) {
        const fleck_tone_curve *const curve = &tone->curves[c];

        fprintf(out, "%s%s: %zu steps, density %.3g to %.3g, code %.3f to %.3f\n",
                c == 0 ? "tone      " : "          ", colour_name(calibration, c), curve->count,
                fleck_tone_density(curve->reflectance[curve->count - 1]),
                fleck_tone_density(curve->reflectance[0]), curve->code[curve->count - 1],
                curve->code[0]);
    }
    fputs("          density", out);
    for (unsigned c = 0; c < calibration->channels; c++)
        fputs("     code      off", out);
    fputs("  (density by the other steps, less its own)\n", out);
    for (size_t i = 0; i < tone->step_count; i++) {
        fprintf(out, "          %7.3f", tone->steps[i].density);
        for (unsigned c = 0; c < calibration->channels; c++)
            print_residual(out, &tone->steps[i], c);
        fputc('\n', out);
    }
}

static void print_evenness(FILE *out, const fleck_calibration *calibration)
{
    const fleck_calibration_evenness *const evenness = &calibration->evenness;

    for (unsigned t = 0; evenness->width_px > 0 && t < fleck_calibration_channels(calibration); t++)
        fprintf(out,
                "%s%s: uneven by %.2f %% before, %.2f %% after (standard deviation; %.0f of %.0f "
                "blocks left out as dust)\n",
                t == 0 ? "evenness  " : "          ", channel_name(calibration, t),
                100 * evenness->before_sd[t], 100 * evenness->after_sd[t],
                evenness->blocks_left_out[t], evenness->blocks);
}

static void print_area(FILE *out, const fleck_calibration *calibration, const char *name,
                       const fleck_calibration_area *area)
{
    for (unsigned t = 0; area->present && t < fleck_calibration_channels(calibration); t++)
        fprintf(out, "%-10s%s: reflectance %.4f, noise %.4f, density %.3f\n", t == 0 ? name : "",
                channel_name(calibration, t), area->reflectance[t], area->sd[t],
                fleck_tone_density(area->reflectance[t]));
}

static void print_blank(FILE *out, const fleck_calibration *calibration)
{
    const fleck_calibration_blank *const blank = &calibration->blank;

    for (unsigned t = 0; blank->boxes > 0 && t < fleck_calibration_channels(calibration); t++) {
        fprintf(out, "%s%s: ", t == 0 ? "blank     " : "          ", channel_name(calibration, t));
        if (isnan(blank->coverage_mean[t]))
            fputs("ink and paper do not differ\n", out);
        else
            fprintf(out,
                    "false coverage %.3g %%, limit of detection %.3g %%; false dots %.3g per cm2, "
                    "limit %.3g\n",
                    100 * blank->coverage_mean[t], 100 * blank->coverage_limit[t],
                    blank->per_cm2_mean[t], blank->per_cm2_limit[t]);
    }
    if (blank->boxes > 0)
        fprintf(out,
                "          from %.0f boxes, %.3g cm2 in all, cutoff %g mm; limit: mean + 3 sd\n",
                blank->boxes, blank->area_cm2, blank->cutoff_mm);
}

static void print_blur(FILE *out, const fleck_calibration *calibration)
{
    const fleck_calibration_blur *const blur = &calibration->blur;

    for (unsigned t = 0; blur->present && t < fleck_calibration_channels(calibration); t++) {
        fprintf(out, "%s%s: ", t == 0 ? "blur      " : "          ", channel_name(calibration, t));
        if (isnan(blur->edge_width_mm[t]))
            fputs("the edge does not show\n", out);
        else
            fprintf(out, "a hard edge is %.4f mm wide (10 to 90 %%)\n", blur->edge_width_mm[t]);
    }
    for (size_t i = 0; i < blur->edge_count; i++) {
        const fleck_blur_edge *const edge = &blur->edges[i];

        fprintf(out, "          edge at %.1f degrees, %.3g mm long:", edge->angle_deg,
                edge->length_mm);
        for (unsigned t = 0; t < fleck_calibration_channels(calibration); t++) {
            if (isnan(edge->edge_width_mm[t]))
                fputs(" -", out);
            else
                fprintf(out, " %.4f", edge->edge_width_mm[t]);
        }
        fputs(" mm\n", out);
    }
}

void cli_print_calibration(FILE *out, const fleck_calibration *calibration)
{
    print_scanner(out, calibration);
    print_length(out, &calibration->length);
    print_tone(out, calibration);
    print_evenness(out, calibration);
    print_area(out, calibration, "paper", &calibration->paper);
    print_area(out, calibration, "ink", &calibration->ink);
    if (calibration->paper.present)
        fprintf(out, "          reflectance is %s\n",
                calibration->relative_to_paper
                    ? "relative to the paper"
                    : "not relative to the paper, since the ink is lighter");
    print_blank(out, calibration);
    print_blur(out, calibration);
}
