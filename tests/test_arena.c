/* SPDX-License-Identifier: ISC */
#include "basic/arena.h"
#include "run_tcase.h"

#include <check.h>
#include <stdint.h>
#include <string.h>

enum { SIZE = 4096 };
static unsigned char memory[SIZE];

START_TEST(blocks_are_aligned_zeroed_and_apart) {
    for (size_t skew = 0; skew < ARENA_ALIGN; skew += 13) {
        memset(memory, 0xa5, sizeof memory);
        Arena arena = arena_over(memory + skew, SIZE - skew);
        unsigned char *last_end = memory + skew;
        for (size_t count = 0; count < 40; count += 7) {
            unsigned char *block = arena_take(&arena, count, 4);
            ck_assert_ptr_nonnull(block);
            ck_assert_uint_eq((uintptr_t)block % ARENA_ALIGN, 0);
            ck_assert(block >= last_end);
            last_end = block + 4 * count;
            ck_assert(last_end <= memory + SIZE);
            for (size_t i = 0; i < 4 * count; i++)
                ck_assert_uint_eq(block[i], 0);
            memset(block, 0xff, 4 * count);
        }
    }
}
END_TEST

START_TEST(what_does_not_fit_is_refused_and_still_counted) {
    Arena arena = arena_over(memory, 256);
    size_t room = arena.size;
    ck_assert_ptr_null(arena_take(&arena, room + 1, 1));
    ck_assert_uint_gt(arena.used, arena.size);
    /* Whoever makes a block of `used` + ARENA_ALIGN bytes succeeds: that is what the count is for.
     */
    ck_assert_ptr_null(arena_take(&arena, 3, 8));
    size_t wanted = arena.used;
    arena = arena_over(memory, wanted + ARENA_ALIGN - 1);
    ck_assert_ptr_nonnull(arena_take(&arena, room + 1, 1));
    ck_assert_ptr_nonnull(arena_take(&arena, 3, 8));
    ck_assert_uint_eq(arena.used, wanted);
}
END_TEST

START_TEST(the_last_byte_can_be_had_and_no_more) {
    Arena arena = arena_over(memory, SIZE);
    size_t whole = arena.size / ARENA_ALIGN * ARENA_ALIGN;
    ck_assert_ptr_nonnull(arena_take(&arena, whole, 1));
    ck_assert_ptr_nonnull(arena_take(&arena, 0, 8));
    ck_assert_ptr_null(arena_take(&arena, 1, 1));
}
END_TEST

START_TEST(sizes_that_overflow_are_refused_for_good) {
    Arena arena = arena_over(memory, SIZE);
    ck_assert_ptr_null(arena_take(&arena, SIZE_MAX, 1));
    ck_assert_ptr_null(arena_take(&arena, SIZE_MAX / 2, 4));
    ck_assert_ptr_null(arena_take(&arena, SIZE_MAX / 8, 4));
    ck_assert_uint_gt(arena.used, arena.size);
    ck_assert_ptr_null(arena_take(&arena, 1, 1));
    ck_assert_ptr_null(arena_take(&arena, SIZE_MAX / 4, 1));
    ck_assert_uint_gt(arena.used, arena.size);
}
END_TEST

START_TEST(a_block_smaller_than_the_alignment_is_an_empty_arena) {
    Arena arena = arena_over(memory + 1, 1);
    ck_assert_ptr_null(arena_take(&arena, 1, 1));
    arena = arena_over(NULL, 0);
    ck_assert_ptr_null(arena_take(&arena, 1, 1));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("arena");
    tcase_add_test(tcase, blocks_are_aligned_zeroed_and_apart);
    tcase_add_test(tcase, what_does_not_fit_is_refused_and_still_counted);
    tcase_add_test(tcase, the_last_byte_can_be_had_and_no_more);
    tcase_add_test(tcase, sizes_that_overflow_are_refused_for_good);
    tcase_add_test(tcase, a_block_smaller_than_the_alignment_is_an_empty_arena);
    return run_tcase(tcase, "arena");
}
