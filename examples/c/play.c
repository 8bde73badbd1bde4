/* Plays an image and prints lead II and the arterial pressure, a frame a line.
 *
 *   cargo build --release -p pulsewright-capi
 *   pulsewright compile examples/ward-round.json --format c -o target/image.h
 *   gcc -Icrates/capi/include -Itarget examples/c/play.c target/release/libpulsewright_capi.a -o target/play
 *   target/play 2000
 *
 * With --bits it prints every value of a frame as its bits, for comparing machines.
 * With --events it plays arterial and venous pressure alone and prints what happens, a line each: a trigger output of a rig goes
 * high at those frames.
 * With --live it leads the player: another rate, another rhythm, on with the script, hold. It prints bits.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pulsewright.h"
#include "image.h" /* declares `ward_round`, after the script's file */

enum { FRAMES_PER_SECOND = 500, BLOCK = 16, ROOM = 32, ARTERIAL = 1 << 0, VENOUS = 1 << 3 };

static pulsewright_player player;

static void print_bits(const pulsewright_frame *frame) {
    enum { VALUES = sizeof *frame / sizeof(float) };
    uint32_t bits[VALUES];
    memcpy(bits, frame, sizeof bits);
    for (int i = 0; i < VALUES; i++) {
        printf("%08lx%c", (unsigned long)bits[i], i + 1 < VALUES ? ' ' : '\n');
    }
}

static void print_event(const pulsewright_event *event) {
    unsigned long frame = (unsigned long)event->frame, peak = (unsigned long)event->peak_frame;
    switch (event->kind) {
    case PULSEWRIGHT_EVENT_BEAT:
        printf("%lu beat %c, peak at %lu\n", frame, (char)event->detail, peak);
        break;
    case PULSEWRIGHT_EVENT_ATRIAL_PACE:
    case PULSEWRIGHT_EVENT_VENTRICULAR_PACE:
        printf("%lu pacing pulse%s\n", frame, event->detail ? "" : ", no answer");
        break;
    default:
        break;
    }
}

/* Plays `left` frames and prints the events; every one must have found room. */
static int print_events(size_t left) {
    if (pulsewright_pressures(&player, ARTERIAL | VENOUS) != PULSEWRIGHT_OK) return 2;
    while (left > 0) {
        pulsewright_frame block[BLOCK];
        pulsewright_event events[ROOM];
        size_t happened;
        size_t filled = pulsewright_fill_events(&player, block, left < BLOCK ? left : BLOCK, events, ROOM, &happened);
        if (happened > ROOM) return 3;
        for (size_t i = 0; i < happened; i++) print_event(&events[i]);
        if (filled == 0) break;
        left -= filled;
    }
    return 0;
}

/* Prints the frames up to number `until`. */
static void play_until(size_t *position, size_t until) {
    while (*position < until) {
        pulsewright_frame block[BLOCK];
        size_t left = until - *position;
        size_t filled = pulsewright_fill(&player, block, left < BLOCK ? left : BLOCK);
        for (size_t i = 0; i < filled; i++) print_bits(&block[i]);
        if (filled == 0) return;
        *position += filled;
    }
}

/* Two steps in turn: one may be changed only when the player plays the other. */
static int lead(size_t frames) {
    static pulsewright_step fast, ventricular;
    size_t position = 0;
    play_until(&position, 40 * FRAMES_PER_SECOND);
    if (pulsewright_step_now(&fast, &player) != PULSEWRIGHT_OK) return 4;
    if (pulsewright_step_set(&fast, "rate_bpm", 110) != PULSEWRIGHT_OK) return 4;
    if (pulsewright_play(&player, &fast) != PULSEWRIGHT_OK) return 4;
    play_until(&position, 48 * FRAMES_PER_SECOND);
    if (pulsewright_step_now(&ventricular, &player) != PULSEWRIGHT_OK) return 5;
    if (pulsewright_step_rhythm(&ventricular, "ventricular-tachycardia") != PULSEWRIGHT_OK) return 5;
    if (pulsewright_play(&player, &ventricular) != PULSEWRIGHT_OK) return 5;
    play_until(&position, 54 * FRAMES_PER_SECOND);
    pulsewright_next_step(&player);
    play_until(&position, 56 * FRAMES_PER_SECOND);
    pulsewright_hold(&player);
    play_until(&position, frames);
    return 0;
}

int main(int argc, char **argv) {
    size_t left = argc > 1 ? strtoul(argv[1], NULL, 10) : 1000;
    int as_bits = argc > 2 && strcmp(argv[2], "--bits") == 0;
    if (pulsewright_interface() != PULSEWRIGHT_INTERFACE) {
        fprintf(stderr, "the library is not that of the header\n");
        return 2;
    }
    int32_t status = pulsewright_start(&player, ward_round, sizeof ward_round, FRAMES_PER_SECOND, -1);
    if (status != PULSEWRIGHT_OK) {
        fprintf(stderr, "the image is refused: status %ld\n", (long)status);
        return 2;
    }
    if (argc > 2 && strcmp(argv[2], "--events") == 0) return print_events(left);
    if (argc > 2 && strcmp(argv[2], "--live") == 0) return lead(left);
    while (left > 0) {
        pulsewright_frame block[BLOCK];
        size_t filled = pulsewright_fill(&player, block, left < BLOCK ? left : BLOCK);
        for (size_t i = 0; i < filled; i++) {
            if (as_bits)
                print_bits(&block[i]);
            else
                printf("%.3f mV %.1f mmHg\n", block[i].leads_mv[1], block[i].pressure_mmhg[0]);
        }
        if (filled == 0) break;
        left -= filled;
    }
    return 0;
}
