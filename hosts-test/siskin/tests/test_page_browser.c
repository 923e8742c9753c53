/* SPDX-License-Identifier: ISC */
/* The page of siskin report in headless Chromium: it loads without errors and fetches nothing,
 * players switch, marks have their text, and it can be read on a phone and in the dark. Without
 * Chromium nothing is tried, except where CI is set, where that is a failure. */
#include "siskin/tests/browser.h"
#include "siskin/tests/page_take.h"

static bool may_skip_browser(void) {
    if (system("command -v chromium >/dev/null") == 0) // NOLINT(cert-env33-c): a constant
        return false;
    ck_assert_msg(!getenv("CI"), "chromium: not installed");
    puts("chromium is not installed: the page was not tried in a browser");
    return true;
}

/* Width and height in CSS pixels. */
static void open_page(Browser *browser, int width, int height, bool dark) {
    make_page();
    browser_open(browser);
    browser_size(browser, width, height, dark);
    browser_load(browser, "page.html");
}

/* After it went without an error and fetched nothing. */
static void close_page(Browser *browser) {
    browser_check_clean(browser);
    browser_close(browser);
}

/* Scripts hold no double quotes: see browser_run. */
#define PRESS                                                                                      \
    "const press = (key) => document.body.dispatchEvent("                                          \
    "  new KeyboardEvent('keydown', {key, bubbles: true, cancelable: true}));"                     \
    "const wait = (ms) => new Promise((done) => setTimeout(done, ms));"                            \
    "const place = () => document.getElementById('position').textContent.split(' / ')[0];"         \
    "const seconds = () => Number(place().split(':')[0]) * 60 + Number(place().split(':')[1]);"    \
    "const track = () => document.body.dataset.track;"

START_TEST(keys_switch_at_the_same_place_and_play_goes_on) {
    if (may_skip_browser())
        return;
    Browser browser;
    char outcome[512];
    open_page(&browser, 1280, 900, false);
    browser_run(&browser,
                PRESS "const out = []; press('ArrowRight'); press('ArrowRight');"
                      "for (const key of ['2', '3', '1']) { press(key); out.push(track() + ' ' + "
                      "place()); }"
                      "return out.join(', ');",
                outcome, sizeof outcome);
    ck_assert_str_eq(outcome, "result 0:02.0, removed 0:02.0, raw 0:02.0");
    /* While it plays: the place goes on with the clock across switches, to 0.3 s of what a busy
     * machine may add to a timer; pause stands still. */
    browser_run(&browser,
                PRESS "press(' '); const began = Date.now();"
                      "while (seconds() <= 2.05 && Date.now() - began < 10000) await wait(10);"
                      "const clock = Date.now(), from = seconds(); await wait(300); press('2');"
                      "await wait(300); press('3'); await wait(300);"
                      "const ran = (Date.now() - clock) / 1000, off = seconds() - from - ran;"
                      "const state = document.body.dataset.playing; press(' ');"
                      "const still = place(); await wait(200);"
                      "return [state, track(), Math.abs(off) < 0.3 ? 'in time' : 'off by ' + off,"
                      "  document.body.dataset.playing, still === place() ? 'still' : 'moves',"
                      "  document.getElementById('status').textContent].join(', ');",
                outcome, sizeof outcome);
    ck_assert_str_eq(outcome, "true, removed, in time, false, still, ");
    browser_run(&browser,
                PRESS
                "document.getElementById('track-1').click(); press('m');"
                "const note = document.getElementById('match-note').textContent;"
                "press('m'); press('Home'); press('End');"
                "return [track(), /now .* dB .raw .*, result/.test(note) ? 'told' : note,"
                "  place() === document.getElementById('position').textContent.split(' / ')[1]"
                "    ? 'end' : place()].join(', ');",
                outcome, sizeof outcome);
    ck_assert_str_eq(outcome, "result, told, end");
    close_page(&browser);
}
END_TEST

/* What is given to the browser's audio graph: all three sounds at one moment and one place, the
 * third the difference of the others to two roundings to 16 bits (and the browser's own to float),
 * through gains of which the chosen one alone is open. */
START_TEST(all_three_sounds_run_in_step_and_one_is_heard) {
    if (may_skip_browser())
        return;
    Browser browser;
    char outcome[512];
    open_page(&browser, 1280, 900, false);
    browser_run(
        &browser,
        PRESS
        "const started = [], gains = new Map();"
        "const connect = AudioNode.prototype.connect;"
        "AudioNode.prototype.connect = function (to, ...rest) {"
        "  gains.set(this, to); return connect.call(this, to, ...rest); };"
        "const start = AudioBufferSourceNode.prototype.start;"
        "AudioBufferSourceNode.prototype.start = function (...times) {"
        "  started.push({ node: this, times }); return start.apply(this, times); };"
        "const open = () => started.slice(0, 3).map((s) => gains.get(s.node).gain.value > 0.5 "
        "? 1 : 0).join('');"
        "press('ArrowRight'); press(' '); while (started.length < 3) await wait(10);"
        "await wait(200); const heard = [open()]; press('2'); await wait(200);"
        "heard.push(open()); press('3'); await wait(200); heard.push(open()); press(' ');"
        "const [a, b, c] = started.map((s) => s.node.buffer.getChannelData(0));"
        "let worst = 0, most = 0; for (let i = 0; i < a.length; i++) {"
        "  worst = Math.max(worst, Math.abs(a[i] - b[i] - c[i]));"
        "  most = Math.max(most, Math.abs(c[i])); }"
        "const same = new Set(started.slice(0, 3).map((s) => s.times.join()));"
        "return [heard.join(' '), same.size, started[0].times[1], most > 0.01,"
        "  worst < 3 / 32768 || worst].join(', ');",
        outcome, sizeof outcome);
    ck_assert_str_eq(outcome, "100 010 001, 1, 1, true, true");
    close_page(&browser);
}
END_TEST

START_TEST(every_mark_has_its_text_and_leads_to_its_place) {
    if (may_skip_browser())
        return;
    Browser browser;
    char outcome[512];
    open_page(&browser, 1280, 900, true);
    browser_run(
        &browser,
        PRESS
        "const items = [...document.querySelectorAll('#events li button')];"
        "const marks = [...document.querySelectorAll('.mark')];"
        "const texts = new Set(items.map((i) => i.textContent.replace(/[ ]+/g, ' ').trim()));"
        "const told = marks.every((m) => texts.has(m.title) && m.title === "
        "  m.getAttribute('aria-label') && /^[0-9]+:[0-9.]+ (phrase|breath|sibilant|click) "
        "[0-9]/.test(m.title));"
        "let led = 0; for (const item of items) { item.click();"
        "  led += Math.abs(seconds() - Number(item.dataset.from)) <= 0.051; }"
        "press('Home'); press('.'); const first = document.querySelector('#events "
        "[aria-current]');"
        "return [items.length > 8 && items.length === marks.length, told, led === items.length,"
        "  first === items[0]].join(', ');",
        outcome, sizeof outcome);
    ck_assert_str_eq(outcome, "true, true, true, true");
    close_page(&browser);
}
END_TEST

/* A bar for each note as sung, and one as it is now, at the height of its pitch; a click on either,
 * or ] and [, plays that note and nothing more, from its start to its end, in the sound the bar is
 * of. */
START_TEST(every_note_is_a_bar_that_is_heard_by_itself) {
    if (may_skip_browser())
        return;
    Browser browser;
    char outcome[512];
    make_tuned_page();
    browser_open(&browser);
    browser_size(&browser, 1280, 900, false);
    browser_load(&browser, "page.html");
    browser_run(
        &browser,
        PRESS
        "const started = []; const start = AudioBufferSourceNode.prototype.start;"
        "AudioBufferSourceNode.prototype.start = function (...times) {"
        "  started.push(times); return start.apply(this, times); };"
        "const items = [...document.querySelectorAll('#notes li button')];"
        "const bars = [...document.querySelectorAll('.bar-of-note')];"
        "const clean = (e) => e.textContent.replace(/[ ]+/g, ' ').trim();"
        "const texts = new Set(items.map(clean));"
        "const told = bars.every((b) => texts.has(b.title) && b.title === "
        "b.getAttribute('aria-label') && /(flat|sharp|on pitch).*; now /.test(b.title));"
        "const raw = bars.filter((b) => b.matches('.raw')), now = bars.filter((b) => "
        "b.matches('.result'));"
        "const rises = (all) => all.every((b, i) => !i || b.getBoundingClientRect().top < "
        "all[i - 1].getBoundingClientRect().top);"
        "now[2].click(); const began = Date.now();"
        "while (document.body.dataset.playing === 'true' && Date.now() - began < 10000) await "
        "wait(10);"
        "const [from, to] = [Number(items[2].dataset.from), Number(items[2].dataset.to)];"
        "const exact = started.length === 3 && started.every((s) => Math.abs(s[1] - from) < 1e-4 "
        "&& Math.abs(s[2] - (to - from)) < 1e-4);"
        "const ended = Math.abs(seconds() - to) <= 0.051, heard = track();"
        "press(']'); const next = document.querySelector('#notes [aria-current]') === items[3];"
        "press('['); const back = document.querySelector('#notes [aria-current]') === items[2];"
        "press(' '); raw[0].click(); await wait(50); const first = track(); press(' ');"
        "return [items.length, raw.length, now.length, told, rises(raw), rises(now), exact, "
        "ended, heard, next, back, first].join(', ');",
        outcome, sizeof outcome);
    ck_assert_str_eq(outcome, "8, 8, 8, true, true, true, true, true, result, true, true, raw");
    close_page(&browser);
}
END_TEST

/* WCAG 2.2: 1.4.10, reflow at 320 CSS pixels (here 360, a small phone) without scrolling both ways;
 * 1.4.3, contrast of text 4.5 to 1 at least; 4.1.2, names of all controls. */
START_TEST(a_small_phone_and_both_schemes_can_read_it) {
    if (may_skip_browser())
        return;
    Browser browser;
    char outcome[1024];
    make_page();
    browser_open(&browser);
    for (int dark = 0; dark < 2; dark++) {
        browser_size(&browser, 360, 740, dark);
        browser_load(&browser, "page.html");
        browser_run(
            &browser,
            "const light = (c) => { const v = c.match(/[0-9.]+/g).slice(0, 3).map((x) => {"
            "  const s = x / 255; return s <= 0.03928 ? s / 12.92 : ((s + 0.055) / 1.055) ** 2.4; "
            "}); return 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2]; };"
            "const behind = (e) => { for (; e; e = e.parentElement) { const b = "
            "getComputedStyle(e).backgroundColor; if (!/, 0[)]$/.test(b)) return b; } };"
            "let least = 99; for (const e of document.querySelectorAll('body *')) {"
            "  if (![...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())) continue;"
            "  if (e.matches('script, style, .mark') || !e.offsetParent) continue;"
            "  const a = light(getComputedStyle(e).color), b = light(behind(e));"
            "  least = Math.min(least, (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05)); }"
            "const named = [...document.querySelectorAll('button, input, canvas')].every((e) => "
            "  e.textContent.trim() || e.getAttribute('aria-label') || (e.labels && "
            "  e.labels.length));"
            "const width = document.documentElement.scrollWidth;"
            "return [width <= 360 ? 'fits' : width, least >= 4.5 ? 'contrast' : least, named,"
            "  matchMedia('(prefers-color-scheme: dark)').matches].join(', ');",
            outcome, sizeof outcome);
        ck_assert_str_eq(outcome,
                         dark ? "fits, contrast, true, true" : "fits, contrast, true, false");
    }
    close_page(&browser);
}
END_TEST

START_TEST(a_nasty_name_runs_nothing) {
    if (may_skip_browser())
        return;
    Browser browser;
    char outcome[512];
    make_nasty_page();
    browser_open(&browser);
    browser_load(&browser, "page.html");
    browser_run(
        &browser,
        "return [document.querySelector('h1').textContent.length,"
        "  document.querySelector('pre').textContent.startsWith('# </pre></script>'),"
        "  document.title.startsWith(document.querySelector('h1').textContent)].join(', ');",
        outcome, sizeof outcome);
    char expected[64];
    snprintf(expected, sizeof expected, "%zu, true, true", strlen(NASTY));
    ck_assert_str_eq(outcome, expected);
    close_page(&browser);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("page in a browser");
    tcase_add_test(tcase, keys_switch_at_the_same_place_and_play_goes_on);
    tcase_add_test(tcase, all_three_sounds_run_in_step_and_one_is_heard);
    tcase_add_test(tcase, every_mark_has_its_text_and_leads_to_its_place);
    tcase_add_test(tcase, every_note_is_a_bar_that_is_heard_by_itself);
    tcase_add_test(tcase, a_small_phone_and_both_schemes_can_read_it);
    tcase_add_test(tcase, a_nasty_name_runs_nothing);
    return run_suite(tcase, "siskin page in a browser");
}
