/* Pulsewright's core for programs in C.
 *
 * Test benches only: never connect a source of these signals to a person, nor to equipment connected to one.
 *
 * Link with libpulsewright_capi.a. Nothing is allocated, no function blocks, none keeps state outside the player.
 * A player may be used from one thread or interrupt at a time. Frames are the bits that the same script gives on any machine;
 * leave the floating-point unit as a reset leaves it. See docs/microcontroller.md.
 */
#ifndef PULSEWRIGHT_H
#define PULSEWRIGHT_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

enum pulsewright_status {
    PULSEWRIGHT_OK = 0,
    PULSEWRIGHT_POINTER = 1,      /* null, or not aligned */
    PULSEWRIGHT_FRAME_RATE = 2,   /* no frame rate that is played */
    PULSEWRIGHT_ITEM = 3,         /* no step at that item */
    PULSEWRIGHT_NOT_AN_IMAGE = 4, /* or of another version of the format */
    PULSEWRIGHT_DAMAGED = 5,      /* cut off or changed */
    PULSEWRIGHT_OTHER_TABLES = 6, /* made by a version with other settings, bodies or rhythms: compile the script anew */
    PULSEWRIGHT_NO_SCRIPT = 7     /* items that make no script */
};

#if UINTPTR_MAX > 0xffffffffu
#define PULSEWRIGHT_PLAYER_WORDS 784
#else
#define PULSEWRIGHT_PLAYER_WORDS 768
#endif

/* Memory of a player: static, or on a stack that has room for it. Copied bytes are a copy of the player. */
typedef struct pulsewright_player {
    uint64_t words[PULSEWRIGHT_PLAYER_WORDS];
} pulsewright_player;

/* One value of each channel at one instant. */
typedef struct pulsewright_frame {
    float leads_mv[12];       /* I, II, III, aVR, aVL, aVF, V1 to V6 */
    float respiration_ohm;
    float pressure_mmhg[10];  /* arterial, femoral, pulmonary, venous, right atrium, right ventricle, left ventricle,
                                 left atrium, wedge, intracranial; the two atria are 0 */
    float cuff_mmhg[2];       /* cuff pressure, the oscillation in it */
} pulsewright_frame;

/* Puts a player at the start of the image that `pulsewright compile` has made; of the step at `item` alone, counted from 0,
 * where that is not negative. Checks the image, which must then stay as it is while the player is used. */
int32_t pulsewright_start(pulsewright_player *player, const uint8_t *image, size_t length, uint32_t frames_per_second,
                          int32_t item);

/* Fills `count` frames and says how many; fewer only at the end. `player` must have been started. */
size_t pulsewright_fill(pulsewright_player *player, pulsewright_frame *frames, size_t count);

/* Passes over `count` frames, or to the end, and says how many. */
uint64_t pulsewright_skip(pulsewright_player *player, uint64_t count);

/* Ends the present step at the next frame: what a step that holds waits for. */
void pulsewright_next_step(pulsewright_player *player);

#ifdef __cplusplus
}
#endif

#endif
