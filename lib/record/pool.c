/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/pool.h"

#include <pthread.h>

#include "core/memory.h"

struct fleck_pool {
    pthread_mutex_t lock;
    uint64_t counts[FLECK_CHANNELS][FLECK_LEVELS];
};

fleck_pool *fleck_pool_new(void)
{
    fleck_pool *pool = fleck_alloc_zeroed(1, sizeof *pool);

    if (pool == NULL)
        return NULL;
    if (pthread_mutex_init(&pool->lock, NULL) != 0) {
        fleck_free(pool);
        return NULL;
    }
    return pool;
}

void fleck_pool_free(fleck_pool *pool)
{
    if (pool == NULL)
        return;
    pthread_mutex_destroy(&pool->lock);
    fleck_free(pool);
}

void fleck_pool_add(fleck_pool *pool, fleck_channel channel, const uint64_t *counts)
{
    pthread_mutex_lock(&pool->lock);
    for (size_t level = 0; level < FLECK_LEVELS; level++)
        pool->counts[channel][level] += counts[level];
    pthread_mutex_unlock(&pool->lock);
}

fleck_status fleck_pool_cut(const fleck_pool *pool, fleck_channel channel, fleck_ink ink,
                            unsigned *k, fleck_error *err)
{
    fleck_cut cut;
    const fleck_status status = fleck_cut_otsu(pool->counts[channel], ink, &cut, err);

    if (status == FLECK_OK)
        *k = cut.k;
    return status;
}
