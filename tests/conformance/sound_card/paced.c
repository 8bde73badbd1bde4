/* A sound card that is no hardware, as a plugin of ALSA's library: it takes samples by a clock of its own and writes them to a file.
 *
 *   pcm.NAME { type paced  file "/path/taken.raw"  rates [ 48000 ]  channels [ 4 ]  formats [ S16_LE ]  ppm 0
 *              starve_after_ms 0  unplug_after_ms 0 }
 *
 * Its clock runs `ppm` fast. It plays what is there and then waits, as it keeps no time of a program that is not woken. After
 * `starve_after_ms` of sound it reports once that it ran out of samples; after `unplug_after_ms` it is gone.
 */
#include <alsa/asoundlib.h>
#include <alsa/pcm_external.h>
#include <stdio.h>
#include <sys/timerfd.h>
#include <time.h>
#include <unistd.h>

enum { MOST = 16 };

struct paced {
    snd_pcm_ioplug_t io;
    FILE *file;
    long ppm, starve_after_ms, unplug_after_ms;
    unsigned rates[MOST], channels[MOST], formats[MOST];
    unsigned n_rates, n_channels, n_formats;
    int starved, running;
    double since;        /* when the sound of this run began, s */
    double played;       /* frames played since */
    snd_pcm_uframes_t total, place;
};

static double now_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* The first call of a run of the clock. */
static int start(snd_pcm_ioplug_t *io) {
    struct paced *card = io->private_data;
    card->since = now_s();
    card->played = 0;
    card->running = 1;
    return 0;
}

static int stop(snd_pcm_ioplug_t *io) {
    ((struct paced *)io->private_data)->running = 0;
    return 0;
}

static int prepare(snd_pcm_ioplug_t *io) {
    ((struct paced *)io->private_data)->place = 0;
    return 0;
}

static snd_pcm_sframes_t pointer(snd_pcm_ioplug_t *io) {
    struct paced *card = io->private_data;
    double now = now_s();
    double due = (now - card->since) * io->rate * (1 + 1e-6 * (double)card->ppm);
    snd_pcm_sframes_t there = (snd_pcm_sframes_t)(io->appl_ptr - io->hw_ptr);
    snd_pcm_sframes_t step;
    if (!card->running) return (snd_pcm_sframes_t)card->place;
    if (card->unplug_after_ms && card->total * 1000 / io->rate > (snd_pcm_uframes_t)card->unplug_after_ms) return -ENODEV;
    if (card->starve_after_ms && !card->starved && card->total * 1000 / io->rate > (snd_pcm_uframes_t)card->starve_after_ms) {
        card->starved = 1;
        return -EPIPE;
    }
    step = (snd_pcm_sframes_t)(due - card->played);
    if (step < 0) step = 0;
    if (step > there) {
        /* It waits for samples: its time begins again with them. */
        step = there;
        card->since = now;
        card->played = -(double)step;
    }
    card->played += (double)step;
    card->total += (snd_pcm_uframes_t)step;
    card->place = (card->place + (snd_pcm_uframes_t)step) % io->buffer_size;
    return (snd_pcm_sframes_t)card->place;
}

static snd_pcm_sframes_t transfer(snd_pcm_ioplug_t *io, const snd_pcm_channel_area_t *areas, snd_pcm_uframes_t offset,
                                  snd_pcm_uframes_t size) {
    struct paced *card = io->private_data;
    /* Interleaved samples: the first area's step is a whole frame. */
    const char *from = (const char *)areas->addr + (areas->first + areas->step * offset) / 8;
    if (fwrite(from, areas->step / 8, size, card->file) != size) return -EIO;
    fflush(card->file);
    return (snd_pcm_sframes_t)size;
}

static int revents(snd_pcm_ioplug_t *io, struct pollfd *fds, unsigned count, unsigned short *events) {
    struct paced *card = io->private_data;
    unsigned long long ticks;
    snd_pcm_sframes_t room;
    (void)fds, (void)count;
    if (read(io->poll_fd, &ticks, sizeof ticks) < 0) ticks = 0;
    if (card->unplug_after_ms && card->total * 1000 / io->rate > (snd_pcm_uframes_t)card->unplug_after_ms) {
        *events = POLLERR | POLLHUP;
        return 0;
    }
    room = snd_pcm_avail_update(io->pcm);
    *events = room < 0 ? POLLOUT | POLLERR : (snd_pcm_uframes_t)room >= io->period_size ? POLLOUT : 0;
    return 0;
}

static int closed(snd_pcm_ioplug_t *io) {
    struct paced *card = io->private_data;
    fclose(card->file);
    close(io->poll_fd);
    free(card);
    return 0;
}

static const snd_pcm_ioplug_callback_t calls = {
    .start = start, .stop = stop, .prepare = prepare, .pointer = pointer, .transfer = transfer, .poll_revents = revents, .close = closed,
};

static int words(snd_config_t *node, unsigned *list, unsigned *count, int formats) {
    snd_config_iterator_t i, next;
    snd_config_for_each(i, next, node) {
        snd_config_t *entry = snd_config_iterator_entry(i);
        const char *word;
        long number;
        if (*count == MOST) return -EINVAL;
        if (!snd_config_get_integer(entry, &number)) list[(*count)++] = (unsigned)number;
        else if (formats && !snd_config_get_string(entry, &word)) list[(*count)++] = (unsigned)snd_pcm_format_value(word);
        else return -EINVAL;
    }
    return 0;
}

SND_PCM_PLUGIN_DEFINE_FUNC(paced) {
    snd_config_iterator_t i, next;
    struct paced *card = calloc(1, sizeof *card);
    const char *path = NULL;
    unsigned access = SND_PCM_ACCESS_RW_INTERLEAVED;
    struct itimerspec tick = {.it_interval = {0, 2000000}, .it_value = {0, 2000000}};
    int result = -EINVAL;
    (void)root;
    snd_config_for_each(i, next, conf) {
        snd_config_t *entry = snd_config_iterator_entry(i);
        const char *id;
        if (snd_config_get_id(entry, &id) < 0) continue;
        if (!strcmp(id, "file")) snd_config_get_string(entry, &path);
        else if (!strcmp(id, "ppm")) snd_config_get_integer(entry, &card->ppm);
        else if (!strcmp(id, "starve_after_ms")) snd_config_get_integer(entry, &card->starve_after_ms);
        else if (!strcmp(id, "unplug_after_ms")) snd_config_get_integer(entry, &card->unplug_after_ms);
        else if (!strcmp(id, "rates") && words(entry, card->rates, &card->n_rates, 0) < 0) goto failed;
        else if (!strcmp(id, "channels") && words(entry, card->channels, &card->n_channels, 0) < 0) goto failed;
        else if (!strcmp(id, "formats") && words(entry, card->formats, &card->n_formats, 1) < 0) goto failed;
    }
    if (!path || !(card->file = fopen(path, "ab"))) goto failed;
    card->io = (snd_pcm_ioplug_t){.version = SND_PCM_IOPLUG_VERSION, .name = "A card that is no hardware", .callback = &calls,
        .private_data = card, .poll_fd = timerfd_create(CLOCK_MONOTONIC, TFD_NONBLOCK | TFD_CLOEXEC), .poll_events = POLLIN};
    timerfd_settime(card->io.poll_fd, 0, &tick, NULL);
    result = snd_pcm_ioplug_create(&card->io, name, stream, mode);
    if (result < 0) goto failed;
    snd_pcm_ioplug_set_param_list(&card->io, SND_PCM_IOPLUG_HW_ACCESS, 1, &access);
    snd_pcm_ioplug_set_param_list(&card->io, SND_PCM_IOPLUG_HW_FORMAT, card->n_formats, card->formats);
    snd_pcm_ioplug_set_param_list(&card->io, SND_PCM_IOPLUG_HW_CHANNELS, card->n_channels, card->channels);
    snd_pcm_ioplug_set_param_list(&card->io, SND_PCM_IOPLUG_HW_RATE, card->n_rates, card->rates);
    snd_pcm_ioplug_set_param_minmax(&card->io, SND_PCM_IOPLUG_HW_PERIOD_BYTES, 64, 1 << 20);
    snd_pcm_ioplug_set_param_minmax(&card->io, SND_PCM_IOPLUG_HW_PERIODS, 2, 64);
    *pcmp = card->io.pcm;
    return 0;
failed:
    if (card->file) fclose(card->file);
    free(card);
    return result;
}

SND_PCM_PLUGIN_SYMBOL(paced);
