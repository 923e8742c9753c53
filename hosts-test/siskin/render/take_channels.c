/* SPDX-License-Identifier: ISC */
#include "siskin/render/take_work.h"

#include "siskin/chains/settings.h"
#include "siskin/text.h"

static bool in_channels(Take *take, int bus, unsigned *channels);
static bool out_channels(Take *take, int bus, unsigned *channels);

static bool tap_channels(Take *take, const ChainTap *tap, unsigned *channels) {
    return tap->before ? in_channels(take, tap->bus, channels)
                       : out_channels(take, tap->bus, channels);
}

static bool widest_input(Take *take, int number, unsigned *widest) {
    const ChainBus *bus = &take->chain->busses[number];
    unsigned channels = bus->wants_file ? take->placed[number].reader.channels : 1;
    *widest = channels;
    for (size_t i = 0; i < bus->n_sends; i++) {
        if (!tap_channels(take, &bus->sends[i].from, &channels))
            return false;
        *widest = channels > *widest ? channels : *widest;
    }
    for (size_t i = 0; i < take->chain->n_busses; i++) {
        if (take->chain->busses[i].to != number)
            continue;
        if (!out_channels(take, (int)i, &channels))
            return false;
        channels = take->chain->busses[i].panned ? 2 : channels;
        *widest = channels > *widest ? channels : *widest;
    }
    return true;
}

static bool in_channels(Take *take, int number, unsigned *channels) {
    Placed *placed = &take->placed[number];
    const ChainBus *bus = &take->chain->busses[number];
    if (placed->in_state == ASKED)
        return chain_fail(take->chain, bus->line, take->error, "bus %s feeds itself in a loop",
                          bus->name);
    if (placed->in_state == UNKNOWN) {
        placed->in_state = ASKED;
        if (!widest_input(take, number, &placed->in_channels))
            return false;
        if (bus->channels)
            placed->in_channels = bus->channels;
        if (number == take->chain->take && take->job->stereo && !bus->channels)
            placed->in_channels = 2;
        placed->in_state = KNOWN;
    }
    *channels = placed->in_channels;
    return true;
}

static const char *wide(unsigned channels) {
    return channels == 1 ? "mono" : "stereo";
}

static bool check_plugin(Take *take, const ChainBus *bus, const ChainProcessor *processor,
                         const HostPlugin *plugin, unsigned channels) {
    const Chain *chain = take->chain;
    const char *what = chain->path ? bus->name : "the take";
    const char *advice =
        chain->path ? "; 'bus NAME stereo' makes a bus stereo" : "; --stereo makes the take stereo";
    if (plugin->n_in != channels || plugin->n_out < 1 || plugin->n_out > AUDIO_CHANNELS)
        return chain_fail(chain, processor->line, take->error,
                          "%s takes %zu channels and gives %zu, but %s is %s here, so allowed are "
                          "plugins that take %u and give 1 or 2%s",
                          processor->name, plugin->n_in, plugin->n_out, what, wide(channels),
                          channels, channels == 1 ? advice : "");
    if (processor->key.bus >= 0 && plugin->n_key > AUDIO_CHANNELS)
        return chain_fail(chain, processor->line, take->error,
                          "%s has %zu key inputs; key= is for processors with 1 or 2",
                          processor->name, plugin->n_key);
    return true;
}

static bool out_channels(Take *take, int number, unsigned *channels) {
    Placed *placed = &take->placed[number];
    const ChainBus *bus = &take->chain->busses[number];
    if (!in_channels(take, number, channels))
        return false;
    if (placed->out_state != KNOWN) {
        placed->plugins = text_take(bus->n_processors, sizeof(const HostPlugin *));
        placed->nodes = text_take(bus->n_processors, sizeof *placed->nodes);
        for (size_t i = 0; i < bus->n_processors; i++) {
            const ChainProcessor *processor = &bus->processors[i];
            HostError why;
            placed->plugins[i] = settings_find(take->host, processor->name, *channels, &why);
            if (!placed->plugins[i])
                return chain_fail(take->chain, processor->line, take->error, "%s", why.text);
            if (!check_plugin(take, bus, processor, placed->plugins[i], *channels))
                return false;
            *channels = (unsigned)placed->plugins[i]->n_out;
        }
        placed->out_channels = *channels;
        placed->out_state = KNOWN;
    }
    *channels = placed->out_channels;
    return true;
}

bool take_find_channels(Take *take) {
    unsigned channels = 0;
    for (size_t i = 0; i < take->chain->n_busses; i++)
        if (!out_channels(take, (int)i, &channels))
            return false;
    return true;
}
