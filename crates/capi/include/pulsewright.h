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
    PULSEWRIGHT_NO_SCRIPT = 7,    /* items that make no script */
    PULSEWRIGHT_NOT_STARTED = 8,  /* no player was started in that memory */
    PULSEWRIGHT_PRESSURES = 9,    /* more than eight pressures, or an unknown one */
    PULSEWRIGHT_TOO_LATE = 10,    /* a frame has been played already */
    PULSEWRIGHT_NOT_MADE = 11,    /* no step was made in that memory */
    PULSEWRIGHT_WORD = 12,        /* no setting, rhythm or body of that name */
    PULSEWRIGHT_VALUE = 13,       /* a value that the setting does not take */
    PULSEWRIGHT_CONFLICT = 14,    /* settings that exclude each other */
    PULSEWRIGHT_OWN = 15          /* the player plays a rhythm or body that only its image has */
};

/* Version of this interface; compare it with pulsewright_interface() of the library that you link. */
#define PULSEWRIGHT_INTERFACE 3

#if UINTPTR_MAX > 0xffffffffu
#define PULSEWRIGHT_PLAYER_WORDS 804
#else
#define PULSEWRIGHT_PLAYER_WORDS 784
#endif

/* Memory of a player: static, or initialised on a stack that has room for it. Copied bytes are a copy of the player. */
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

enum pulsewright_event_kind {
    PULSEWRIGHT_EVENT_STEP = 1,             /* detail: its item */
    PULSEWRIGHT_EVENT_ATRIAL = 2,           /* a P wave starts */
    PULSEWRIGHT_EVENT_BEAT = 3,             /* a QRS starts; detail: the letter of its annotation, as 'N' or 'V' */
    PULSEWRIGHT_EVENT_ATRIAL_PACE = 4,      /* detail: 1 when the atrium answers */
    PULSEWRIGHT_EVENT_VENTRICULAR_PACE = 5, /* detail: 1 when the ventricle answers */
    PULSEWRIGHT_EVENT_BREATH = 6,           /* detail: 1 where the throat is closed, so that no air flows */
    PULSEWRIGHT_EVENT_EPISODE_START = 7,    /* detail: 0 atrial fibrillation, 1 atrial flutter, 2 ventricular flutter, */
    PULSEWRIGHT_EVENT_EPISODE_END = 8       /* 3 ventricular fibrillation, 4 apnoea, 5 ST shift, 6 noise, 7 lead off, 8 obstruction */
};

/* Something that happened. */
typedef struct pulsewright_event {
    uint64_t frame;      /* the first frame at or after it; frames count from 0 */
    uint64_t peak_frame; /* of a beat its QRS peak, of a breath the end of inspiration; else `frame` */
    uint32_t kind;       /* enum pulsewright_event_kind */
    uint32_t detail;
} pulsewright_event;

/* The interface that the library has. */
uint32_t pulsewright_interface(void);

/* Puts a player at the start of the image that `pulsewright compile` has made; of the step at `item` alone, counted from 0,
 * where that is not negative. Checks the image, which must then stay as it is while the player is used. */
int32_t pulsewright_start(pulsewright_player *player, const uint8_t *image, size_t length, uint32_t frames_per_second,
                          int32_t item);

/* Chooses the pressures that are played, at most eight, before the first frame: bit n is pressure_mmhg[n]. All but the two atria
 * are played where this is not called; four pressures take less time than eight. */
int32_t pulsewright_pressures(pulsewright_player *player, uint32_t sites);

/* Fills `count` frames and says how many; fewer only at the end, none where no player was started. */
size_t pulsewright_fill(pulsewright_player *player, pulsewright_frame *frames, size_t count);

/* The same, with what happens: puts the first `room` events into `events`, and the number of all of them into `happened`. An event
 * comes with the call that plays its frame, or sooner: keep it until its frame is shown, for a trigger. */
size_t pulsewright_fill_events(pulsewright_player *player, pulsewright_frame *frames, size_t count, pulsewright_event *events,
                               size_t room, size_t *happened);

/* Potentials of RA, LA, LL and V1 to V6, mV, against the mean of the limbs. */
void pulsewright_electrodes(const pulsewright_frame *frame, float electrodes_mv[9]);

/* Passes over `count` frames, or to the end, and says how many. */
uint64_t pulsewright_skip(pulsewright_player *player, uint64_t count);

/* Ends the present step at the next frame: what a step that holds waits for. After a step of pulsewright_play the image goes on with
 * the step that came next when the first of them began. */
void pulsewright_next_step(pulsewright_player *player);

/* Holds the step of the next frame until pulsewright_next_step; its ramps go on to their ends. */
void pulsewright_hold(pulsewright_player *player);

#define PULSEWRIGHT_STEP_WORDS 144

/* Memory of a step that the program makes, for live settings. */
typedef struct pulsewright_step {
    uint64_t words[PULSEWRIGHT_STEP_WORDS];
} pulsewright_step;

/* Puts a step that holds into that memory: a resting adult in sinus rhythm. */
int32_t pulsewright_step_resting(pulsewright_step *step);

/* Puts a step that holds into that memory: the settings that the player plays at its next frame. */
int32_t pulsewright_step_now(pulsewright_step *step, pulsewright_player *player);

/* Changes a step that no player plays: a setting by its path, as in docs/script.md ("rate_bpm", "pressure.arterial.systolic_mmhg"); a
 * rhythm by its word, at its usual rate; a body by its word, with its resting values. Words end with a zero byte. A call that is
 * refused changes nothing. */
int32_t pulsewright_step_set(pulsewright_step *step, const char *path, float value);
int32_t pulsewright_step_rhythm(pulsewright_step *step, const char *word);
int32_t pulsewright_step_body(pulsewright_step *step, const char *word);

/* Plays a step from the next frame on, until another one or pulsewright_next_step. The step must stay as it is, also for copies of the
 * player, until the first frame of another step has been filled: use two in turn. From then on the player does not end by itself. */
int32_t pulsewright_play(pulsewright_player *player, const pulsewright_step *step);

#ifdef __cplusplus
}
#endif

#endif
