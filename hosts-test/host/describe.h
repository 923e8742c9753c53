/* SPDX-License-Identifier: ISC */
/* describe.h: inside the host: what its Turtle tells about a plugin. */
#ifndef SISKIN_HOST_DESCRIBE_H
#define SISKIN_HOST_DESCRIBE_H

#include "host/plugin.h"

#define HOST_OWN_PREFIX "urn:siskin:"

/* Fills in a description of which uri, lilv and world are set. On failure, and in the end, the
 * caller frees it. */
bool host_describe(HostPlugin *plugin, HostError *error);
void host_describe_free(HostPlugin *plugin);

/* A URI as a node of the plugin's world; the caller frees it. */
LilvNode *host_node(const HostPlugin *plugin, const char *uri);

/* Memory for descriptions and instances. It is small: a process without it cannot say anything
 * useful any more, and ends. */
void *host_must(void *memory);
void *host_take(size_t count, size_t size);
char *host_copy(const char *text);

#endif
