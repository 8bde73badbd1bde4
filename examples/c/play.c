/* Plays an image and prints lead II and the arterial pressure, a frame a line.
 *
 *   cargo build --release -p pulsewright-capi
 *   pulsewright compile examples/ward-round.json --format c -o target/image.h
 *   gcc -Icrates/capi/include -Itarget examples/c/play.c target/release/libpulsewright_capi.a -o target/play
 *   target/play 2000
 *
 * With --bits it prints every value of a frame as its bits, for comparing machines.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pulsewright.h"
#include "image.h" /* declares `ward_round`, after the script's file */

enum { FRAMES_PER_SECOND = 500, BLOCK = 16 };

static pulsewright_player player;

static void print_bits(const pulsewright_frame *frame) {
    enum { VALUES = sizeof *frame / sizeof(float) };
    uint32_t bits[VALUES];
    memcpy(bits, frame, sizeof bits);
    for (int i = 0; i < VALUES; i++) {
        printf("%08lx%c", (unsigned long)bits[i], i + 1 < VALUES ? ' ' : '\n');
    }
}

int main(int argc, char **argv) {
    size_t left = argc > 1 ? strtoul(argv[1], NULL, 10) : 1000;
    int as_bits = argc > 2 && strcmp(argv[2], "--bits") == 0;
    int32_t status = pulsewright_start(&player, ward_round, sizeof ward_round, FRAMES_PER_SECOND, -1);
    if (status != PULSEWRIGHT_OK) {
        fprintf(stderr, "the image is refused: status %ld\n", (long)status);
        return 2;
    }
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
