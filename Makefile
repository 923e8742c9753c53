# SPDX-License-Identifier: ISC
# Siskin. Plugins are found as plugins/*/, test suites as tests/test_*.c: nothing to register here.
# The targets are explained in DEVELOPERS.md; `make help` lists them.

VERSION := 0.1.0

CC ?= gcc
BUILD ?= build
OPT ?= -O3
FORTIFY ?= 2
# The system built for, as the compiler names it: x86_64-linux-gnu, aarch64-linux-gnu, x86_64-w64-mingw32.
TARGET := $(shell $(CC) -dumpmachine)
# A build folder whose ttlgen runs on this machine: another than BUILD when building for another system.
NATIVE ?= $(BUILD)
# No FMA contraction: the same sums on every processor. No -ffast-math: NaN must stay visible.
CFLAGS_BASE := -std=c11 $(OPT) -g -ffp-contract=off -fPIC -fvisibility=hidden \
  -fno-math-errno -fstack-protector-strong -D_FORTIFY_SOURCE=$(FORTIFY) \
  -ffile-prefix-map='$(CURDIR)'=.
ifneq ($(filter i386-% i486-% i586-% i686-%,$(TARGET)),)
# The old x87 unit computes in 80 bits, so its sums would be others than everywhere else.
CFLAGS_BASE += -msse2 -mfpmath=sse
endif
WARN := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wno-sign-conversion -Wstrict-prototypes \
  -Wmissing-prototypes -Wpointer-arith -Wwrite-strings -Wundef
ifeq ($(WERROR),1)
WARN += -Werror
endif
ALL_CFLAGS = $(CFLAGS_BASE) $(WARN) -MMD -MP -Icommon -Iplugins $(CPPFLAGS) $(CFLAGS) $(SAN)
ifneq ($(findstring mingw,$(TARGET)),)
SHLIB := dll
HARDEN := -static -fstack-protector-strong -Wl,--no-insert-timestamp
else
SHLIB := so
HARDEN := -Wl,-z,relro,-z,now
endif
SHARED_LDFLAGS = -shared $(HARDEN) -Wl,--gc-sections $(LDFLAGS) $(SAN)
ALL_LDFLAGS = -pie $(HARDEN) -Wl,--gc-sections $(LDFLAGS) $(SAN)
ifneq ($(filter aarch64-%,$(TARGET)),)
# gcc 12 for arm64 fails when it vectorises a largest difference (fmax in a loop), which tests are full of.
TEST_CFLAGS := -fno-tree-loop-vectorize
endif
HOST_DEFS = -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -Ihosts-test -Itests -DSISKIN_VERSION='"$(VERSION)"'
PKG_HOST = lilv-0 sndfile samplerate
PKG_CONFIG ?= pkg-config
# Asked when first wanted, and once: a bare machine has no pkg-config before setup.sh has run.
once = $(eval $(1) := $(shell $(PKG_CONFIG) $(2)))$($(1))
PKG_CFLAGS = $(call once,PKG_CFLAGS,--cflags $(PKG_HOST) check)
PKG_LIBS = $(call once,PKG_LIBS,--libs $(PKG_HOST))
CHECK_LIBS = $(call once,CHECK_LIBS,--libs check)
EBUR128_LIBS = $(call once,EBUR128_LIBS,--libs libebur128)
HOST_LIBS = $(PKG_LIBS) -lz -lm -lpthread
# Windows of the plugins. VIEWS=0 builds without, and needs neither cairo nor X.
VIEWS ?= $(if $(findstring linux,$(TARGET)),1,0)
PKG_VIEW = cairo xcb xkbcommon-x11
VIEW_CFLAGS = $(call once,VIEW_CFLAGS,--cflags $(PKG_VIEW))
VIEW_LIBS = $(call once,VIEW_LIBS,--libs $(PKG_VIEW))

# ---- what there is: found by its place ----

objects = $(patsubst %.c,$(BUILD)/obj/%.o,$(sort $(1)))
PLUGINS := $(filter-out view,$(sort $(patsubst plugins/%/,%,$(wildcard plugins/*/))))
BASELINE := gain biquad keyed
comma := ,
BROKEN := $(sort $(patsubst hosts-test/contract/broken/%_plugin.c,%,$(wildcard hosts-test/contract/broken/*_plugin.c)))
SUITES := $(sort $(patsubst tests/%.c,%,$(wildcard tests/test_*.c)))
# Suites of bundles and of the program lie in the folder of what they test; their programs, side by side.
# WITHOUT= names suites that are left out.
HOST_SUITE_C := $(filter-out $(if $(filter 1,$(VIEWS)),,hosts-test/view/%),$(wildcard hosts-test/*/test_*.c hosts-test/*/*/test_*.c))
HOST_SUITES := $(sort $(basename $(notdir $(HOST_SUITE_C))))

COMMON_OBJ := $(call objects,$(wildcard common/*.c common/*/*.c))
TEST_HELP_OBJ := $(call objects,$(filter-out tests/test_%,$(wildcard tests/*.c)))
HOST_OBJ := $(call objects,$(filter-out %/test_host.c,$(wildcard hosts-test/host/*.c)))
PAGE_DIR := hosts-test/siskin/page
PAGE_FILES := $(sort $(wildcard $(PAGE_DIR)/page.* $(PAGE_DIR)/*.js))
PAGE_OBJ := $(BUILD)/obj/$(PAGE_DIR)/files.o
CONTROLS_SH := hosts-test/siskin/measure/controls.sh
CONTROLS_OBJ := $(BUILD)/obj/hosts-test/siskin/measure/controls_table.o
MAIN_OBJ := $(BUILD)/obj/hosts-test/siskin/main.o
SISKIN_OBJ := $(PAGE_OBJ) $(CONTROLS_OBJ) $(call objects,$(filter-out hosts-test/siskin/tests/% hosts-test/siskin/main.c, \
  $(wildcard hosts-test/siskin/*.c hosts-test/siskin/*/*.c)))
MATERIAL_OBJ := $(call objects,$(wildcard hosts-test/quality/material*.c))
# A part of the quality table is a file with one function of its name.
QUALITY_PARTS := $(patsubst hosts-test/quality/%_part.c,%,$(sort $(wildcard hosts-test/quality/*_part.c)))
QUALITY_OBJ := $(MATERIAL_OBJ) $(patsubst %,$(BUILD)/obj/hosts-test/quality/%.o,quality phrases parts $(QUALITY_PARTS:%=%_part))
VIEW_TEST_OBJ := $(call objects,$(filter-out hosts-test/view/test_%,$(wildcard hosts-test/view/*.c)))
CONTRACT_OBJ := $(call objects,$(filter-out %/test_contract.c,$(wildcard hosts-test/contract/*.c)))
# What suites in hosts-test/ may share with the programs there: everything but files with a main().
HOST_HELP_OBJ := $(SISKIN_OBJ) $(HOST_OBJ)

LIBCOMMON := $(BUILD)/libcommon.a
# What of a view needs no window, for the suites of its units; all of it but what is made for each plugin.
VIEW_PURE_OBJ := $(call objects,$(patsubst %,plugins/view/%.c,look number model sheet hands))
VIEW_OBJ := $(VIEW_PURE_OBJ) $(call objects,$(patsubst %,plugins/view/%.c,draw paint keyboard window))
BUNDLES := $(foreach p,$(PLUGINS),$(BUILD)/obj/lv2/$(p)/stamp)
TEST_BUNDLES := $(foreach p,$(BASELINE) $(BROKEN),$(BUILD)/obj/test-lv2/$(p)/stamp)
FOREIGN := $(BUILD)/foreign-lv2/foreign.lv2/foreign.so
PROGRAMS := $(BUILD)/siskin $(BUILD)/siskin-sing

.PHONY: all help bundles programs tests ttl ttl-check check check-all check-run check-sanitized check-asan \
  check-ubsan valgrind lint format quality bench hosts demo install uninstall clean
.SECONDARY:
all: bundles programs

help:
	@echo 'make             build bundles and programs into $(BUILD)/'
	@echo 'make demo        get what is missing, render a demo take, say what was done to it'
	@echo 'make install     PREFIX=, DESTDIR=, LV2DIR=; make uninstall'
	@echo 'make check       the tests, a few minutes; says what it leaves to check-all'
	@echo 'make check-all   the whole of them, with sanitizers, valgrind and lint: an hour or more'
	@echo 'make ttl         write the ports from the C tables into ttl/*.ttl'
	@echo 'make quality     figures beside their targets; make bench: cost'
	@echo "make hosts       every bundle in other people's hosts, against siskin render"
	@echo 'make fuzz        random input under sanitizers; make faults: kills, a full disk; make steps: worst blocks'
	@echo 'make mutants     faults put into the code, and which of them no suite notices'
	@echo 'make supply      archive, Debian package, equal builds; make other-machines: arm64, 32-bit x86, Windows'
	@echo 'All targets: DEVELOPERS.md, "Tests"'

bundles: $(BUNDLES)
programs: $(PROGRAMS)

# One short line a step; make V=1 shows the commands.
say = $(if $(V),,@printf '  %-4s %s\n' $(1) '$(2)';)

# ---- objects ----

$(BUILD)/obj/common/%.o: common/%.c
	@mkdir -p $(@D)
	$(call say,CC,$@)$(CC) $(ALL_CFLAGS) -ffunction-sections -fdata-sections -c $< -o $@

$(BUILD)/obj/tests/%.o: tests/%.c
	@mkdir -p $(@D)
	$(call say,CC,$@)$(CC) $(ALL_CFLAGS) $(TEST_CFLAGS) $(PKG_CFLAGS) -D_GNU_SOURCE -Itests -c $< -o $@

$(BUILD)/obj/hosts-test/%.o: hosts-test/%.c
	@mkdir -p $(@D)
	$(call say,CC,$@)$(CC) $(ALL_CFLAGS) $(TEST_CFLAGS) $(PKG_CFLAGS) $(HOST_DEFS) -c $< -o $@

# Skeleton, style and script of the report page, as C. From a pipe: no name of a made file gets into the object.
$(PAGE_OBJ): $(PAGE_FILES) $(PAGE_DIR)/embed.sh $(PAGE_DIR)/files.h Makefile
	@mkdir -p $(@D)
	$(call say,CC,$@)sh $(PAGE_DIR)/embed.sh $(PAGE_FILES) | $(CC) $(ALL_CFLAGS) $(PKG_CFLAGS) $(HOST_DEFS) -x c -c -o $@ -

# What the plugins' controls are, for the program, as C.
$(CONTROLS_OBJ): $(PLUGINS:%=ttl/%.ttl) $(CONTROLS_SH) $(CONTROLS_SH:.sh=.h) Makefile
	@mkdir -p $(@D)
	$(call say,CC,$@)sh $(CONTROLS_SH) $(PLUGINS:%=ttl/%.ttl) | $(CC) $(ALL_CFLAGS) $(PKG_CFLAGS) $(HOST_DEFS) -x c -c -o $@ -

$(BUILD)/obj/plugins/view/%.o: plugins/view/%.c
	@mkdir -p $(@D)
	$(call say,CC,$@)$(CC) $(ALL_CFLAGS) $(if $(findstring $@,$(VIEW_PURE_OBJ)),,$(VIEW_CFLAGS)) -D_GNU_SOURCE -c $< -o $@

$(BUILD)/obj/ttl/%.o: ttl/%.c
	@mkdir -p $(@D)
	$(call say,CC,$@)$(CC) $(ALL_CFLAGS) -c $< -o $@

$(LIBCOMMON): $(COMMON_OBJ)
	@rm -f $@
	$(call say,AR,$@)$(AR) rcsD $@ $^

# ---- bundles: one rule set, used for the plugins and for those of the test programs ----
# $(1) name, $(2) folder of the bundles, $(3) plugin source, $(4) Turtle prose, $(5) presets or nothing, $(6) view or nothing

define bundle
$(BUILD)/obj/$(2)/$(1)/plugin.o: $(3)
	@mkdir -p $$(@D)
	$$(call say,CC,$$@)$$(CC) $$(ALL_CFLAGS) -c $$< -o $$@
$(BUILD)/obj/$(2)/$(1)/shell.o: plugins/lv2_shell.c
	@mkdir -p $$(@D)
	$$(call say,CC,$$@)$$(CC) $$(ALL_CFLAGS) -DSISKIN_ID='"$(1)"' -c $$< -o $$@
$(BUILD)/obj/$(2)/$(1)/ttlgen: $(BUILD)/obj/ttl/ttlgen.o $(BUILD)/obj/$(2)/$(1)/plugin.o $(LIBCOMMON)
	$$(call say,LINK,$$@)$$(CC) $$(ALL_LDFLAGS) -o $$@ $$^ -lm
$(BUILD)/obj/$(2)/$(1)/stamp: $(BUILD)/obj/$(2)/$(1)/shell.o $(BUILD)/obj/$(2)/$(1)/plugin.o \
  $(LIBCOMMON) $(NATIVE)/obj/$(2)/$(1)/ttlgen ttl/manifest.ttl.in $(4) $(5) $(6) $(BUILD)/obj/views Makefile
	@mkdir -p $(BUILD)/$(2)/siskin-$(1).lv2
	$$(call say,LINK,$$@)$$(CC) $$(SHARED_LDFLAGS) -o $(BUILD)/$(2)/siskin-$(1).lv2/$(1).$(SHLIB) $(BUILD)/obj/$(2)/$(1)/shell.o \
	  $(BUILD)/obj/$(2)/$(1)/plugin.o $(LIBCOMMON) -lm
	@sed 's/@NAME@\.so/$(1).$(SHLIB)/; s/@NAME@/$(1)/g' ttl/manifest.ttl.in > $(BUILD)/$(2)/siskin-$(1).lv2/manifest.ttl
	@sed 's/@NAME@/$(1)/g' $(4) > $(BUILD)/$(2)/siskin-$(1).lv2/prose
	@$(NATIVE)/obj/$(2)/$(1)/ttlgen $(BUILD)/$(2)/siskin-$(1).lv2/prose $(BUILD)/$(2)/siskin-$(1).lv2/$(1).ttl && rm $(BUILD)/$(2)/siskin-$(1).lv2/prose
	@if [ -n "$(6)" ]; then sed 's/@NAME@/$(1)/g; s/view\.so/view.$(SHLIB)/' ttl/view.ttl.in >> $(BUILD)/$(2)/siskin-$(1).lv2/manifest.ttl && \
	  $(NATIVE)/obj/$(2)/$(1)/ttlgen --view $(BUILD)/$(2)/siskin-$(1).lv2/view.ttl; \
	  else rm -f $(BUILD)/$(2)/siskin-$(1).lv2/view.*; fi
	@if [ -n "$(5)" ]; then cp $(5) $(BUILD)/$(2)/siskin-$(1).lv2/presets.ttl && \
	  sed -n 's|^<\(urn:siskin:$(1):preset:[^>]*\)>.*|\n<\1>\n    a pset:Preset ;\n    lv2:appliesTo <urn:siskin:$(1)#mono> , <urn:siskin:$(1)#stereo> ;\n    rdfs:seeAlso <presets.ttl> .|p' \
	  $(5) >> $(BUILD)/$(2)/siskin-$(1).lv2/manifest.ttl; fi
	@touch $$@
endef

# The view of a plugin: a library of its own beside the plugin's, so that a host without X loads that alone. It stays loaded
# (nodelete), since cairo and its font library are not made to be unloaded. $(1) name, $(2) presets or nothing
define view
$(BUILD)/obj/lv2/$(1)/ui.o: plugins/view/ui.c
	@mkdir -p $$(@D)
	$$(call say,CC,$$@)$$(CC) $$(ALL_CFLAGS) $$(VIEW_CFLAGS) -D_GNU_SOURCE -DSISKIN_ID='"$(1)"' -c $$< -o $$@
$(BUILD)/obj/lv2/$(1)/presets.o: $(2) plugins/view/presets.sh
	@mkdir -p $$(@D)
	$$(call say,CC,$$@)plugins/view/presets.sh $(2) | $$(CC) $$(ALL_CFLAGS) -x c -c -o $$@ -
$(BUILD)/lv2/siskin-$(1).lv2/view.$(SHLIB): $(BUILD)/obj/lv2/$(1)/ui.o $(BUILD)/obj/lv2/$(1)/presets.o \
  $(BUILD)/obj/lv2/$(1)/plugin.o $(VIEW_OBJ) $(LIBCOMMON) plugins/view/symbols.map
	@mkdir -p $$(@D)
	$$(call say,LINK,$$@)$$(CC) $$(SHARED_LDFLAGS) -Wl,-z,nodelete -Wl,--version-script=plugins/view/symbols.map -o $$@ $$(filter-out %.map,$$^) \
	  $$(VIEW_LIBS) -lm
endef

# Built with views or without: what was built otherwise is built again.
$(shell mkdir -p $(BUILD)/obj && { [ "$$(cat $(BUILD)/obj/views 2>/dev/null)" = '$(VIEWS)' ] || echo '$(VIEWS)' > $(BUILD)/obj/views; })

$(foreach p,$(PLUGINS),$(eval $(call bundle,$(p),lv2,plugins/$(p)/$(p)_plugin.c,ttl/$(p).ttl,$(wildcard ttl/presets/$(p).ttl),$(if $(filter 1,$(VIEWS)),$(BUILD)/lv2/siskin-$(p).lv2/view.$(SHLIB)))))
$(foreach p,$(PLUGINS),$(eval $(call view,$(p),$(wildcard ttl/presets/$(p).ttl))))
$(foreach p,$(BASELINE),$(eval $(call bundle,$(p),test-lv2,hosts-test/contract/baseline/$(p)_plugin.c,hosts-test/contract/baseline/plugin.ttl.in,hosts-test/contract/baseline/$(p)_presets.ttl)))
$(foreach p,$(BROKEN),$(eval $(call bundle,$(p),test-lv2,hosts-test/contract/broken/$(p)_plugin.c,hosts-test/contract/baseline/plugin.ttl.in,)))

# One library with a plugin for each fault, each with the Turtle of the baseline `keyed` under its own name.
NAIVE := $(BUILD)/test-lv2/siskin-naive.lv2
FAULTS := $(shell sed -n 's/^ *F([A-Z_]*, "\([a-z-]*\)").*/\1/p' hosts-test/contract/broken/naive.c)
$(BUILD)/obj/test-lv2/naive/stamp: hosts-test/contract/broken/naive.c $(BUILD)/obj/test-lv2/keyed/stamp Makefile
	@mkdir -p $(@D) $(NAIVE)
	$(call say,LINK,$@)$(CC) $(ALL_CFLAGS) $(SHARED_LDFLAGS) -MF $(@D)/naive.d -o $(NAIVE)/naive.so $< -lm
	@for f in $(FAULTS); do sed "s/siskin:keyed/siskin:naive-$$f/g" \
	  $(BUILD)/test-lv2/siskin-keyed.lv2/keyed.ttl; done > $(NAIVE)/naive.ttl
	@for f in $(FAULTS); do sed "s/siskin:@NAME@/siskin:naive-$$f/; s/@NAME@/naive/" ttl/manifest.ttl.in; \
	  done > $(NAIVE)/manifest.ttl
	@touch $@
TEST_BUNDLES += $(BUILD)/obj/test-lv2/naive/stamp

ttl: $(foreach p,$(PLUGINS),$(BUILD)/obj/lv2/$(p)/ttlgen)
	@for p in $(PLUGINS); do $(BUILD)/obj/lv2/$$p/ttlgen ttl/$$p.ttl ttl/$$p.ttl || exit 1; done

# The committed Turtle must be what the C tables say.
ttl-check: $(foreach p,$(PLUGINS),$(BUILD)/obj/lv2/$(p)/ttlgen)
	@for p in $(PLUGINS); do $(BUILD)/obj/lv2/$$p/ttlgen ttl/$$p.ttl $(BUILD)/$$p.ttl && \
	  diff -u ttl/$$p.ttl $(BUILD)/$$p.ttl || { echo "ttl/$$p.ttl differs: run make ttl"; exit 1; }; done

# ---- programs ----

$(BUILD)/siskin: $(MAIN_OBJ) $(SISKIN_OBJ) $(HOST_OBJ) $(LIBCOMMON)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ $(HOST_LIBS)
$(BUILD)/siskin-sing: $(BUILD)/obj/hosts-test/demo/sing.o $(TEST_HELP_OBJ) $(LIBCOMMON)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ $(HOST_LIBS)
# The list of the parts, made from their names.
$(BUILD)/obj/hosts-test/quality/parts.o: $(QUALITY_PARTS:%=hosts-test/quality/%_part.c) hosts-test/quality/quality.h Makefile
	@mkdir -p $(@D)
	$(call say,CC,$@){ echo '#include "quality/quality.h"'; \
	  printf 'extern const QualityPart quality_%s;\n' $(QUALITY_PARTS); \
	  echo 'const QualityPart *const quality_parts[] = {'; printf '&quality_%s, ' $(QUALITY_PARTS); echo 'NULL};'; } | \
	  $(CC) $(ALL_CFLAGS) $(PKG_CFLAGS) $(HOST_DEFS) -x c -c -o $@ -
$(BUILD)/siskin-quality: $(QUALITY_OBJ) $(HOST_HELP_OBJ) $(TEST_HELP_OBJ) $(LIBCOMMON)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ $(HOST_LIBS)
$(BUILD)/siskin-band: $(BUILD)/obj/hosts-test/demo/band.o
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ $(HOST_LIBS)
# The window of one plugin as a picture. Only this one needs cairo besides the views.
PICTURED := de-esser
$(BUILD)/obj/hosts-test/demo/window.o: HOST_DEFS += $(VIEW_CFLAGS)
$(BUILD)/siskin-window: $(BUILD)/obj/hosts-test/demo/window.o $(BUILD)/obj/lv2/$(PICTURED)/plugin.o \
  $(BUILD)/obj/lv2/$(PICTURED)/presets.o $(filter-out %/window.o %/keyboard.o,$(VIEW_OBJ)) $(HOST_OBJ) $(LIBCOMMON)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ $(HOST_LIBS) $(VIEW_LIBS)
$(BUILD)/siskin-demo: $(BUILD)/obj/hosts-test/demo/demo.o $(TEST_HELP_OBJ) $(LIBCOMMON)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ $(HOST_LIBS)
$(BUILD)/jack_play: $(BUILD)/obj/hosts-test/outside/jack_play.o
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ $(HOST_LIBS) -ldl
$(BUILD)/siskin-bench: $(BUILD)/obj/hosts-test/quality/bench.o $(HOST_OBJ) $(TEST_HELP_OBJ) $(LIBCOMMON)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ $(HOST_LIBS)

# ---- tests ----

$(BUILD)/tests/%: $(BUILD)/obj/tests/%.o $(TEST_HELP_OBJ) $(LIBCOMMON)
	@mkdir -p $(@D)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ $(CHECK_LIBS) $(SUITE_LIBS) -lm
define host_suite
$(BUILD)/hosts-test/$(basename $(notdir $(1))): $(call objects,$(1)) $(HOST_HELP_OBJ) $(TEST_HELP_OBJ) $(LIBCOMMON)
	@mkdir -p $$(@D)
	$$(call say,LINK,$$@)$$(CC) $$(ALL_LDFLAGS) -rdynamic -o $$@ $$^ $$(CHECK_LIBS) $$(SUITE_LIBS) $$(HOST_LIBS) -ldl
endef
$(foreach c,$(HOST_SUITE_C),$(eval $(call host_suite,$(c))))

$(BUILD)/hosts-test/test_contract: $(CONTRACT_OBJ)
$(BUILD)/hosts-test/test_advise: $(MATERIAL_OBJ)
# An independent loudness meter, for comparing with; nothing but these tests is linked with it.
$(BUILD)/tests/test_loudness $(BUILD)/tests/test_true_peak $(BUILD)/hosts-test/test_measure_outside: SUITE_LIBS = $(EBUR128_LIBS)

# Views: their units, and all of them under an X server of the suite's own.
$(patsubst %,$(BUILD)/tests/%,$(filter test_view_%,$(SUITES))): $(VIEW_PURE_OBJ)
$(patsubst %,$(BUILD)/tests/%,$(filter test_view_%,$(SUITES))): SUITE_LIBS = $(LIBCOMMON)
$(BUILD)/hosts-test/test_view $(BUILD)/hosts-test/test_view_hosts: $(VIEW_TEST_OBJ)
$(BUILD)/hosts-test/test_view $(BUILD)/hosts-test/test_view_hosts: SUITE_LIBS = $(shell $(PKG_CONFIG) --libs xcb xcb-xtest 2>/dev/null)

# Another noise reducer, for comparing with, in the same way.
$(BUILD)/hosts-test/test_noise_outside: SUITE_LIBS = -lspeexdsp

# Another pitch shifter, likewise.
$(BUILD)/hosts-test/test_pitch_outside: SUITE_LIBS = -lrubberband

UNIT_SUITES := $(SUITES:%=$(BUILD)/tests/%)
# The longest first, so that none is left running by itself at the end.
LONG_FIRST := test_contract test_advise test_advise_voices test_view test_measure test_resonances test_click_finder \
  test_page_browser test_outside test_page test_singer test_breath_ducker
BY_NAME := $(HOST_SUITES:%=$(BUILD)/hosts-test/%) $(UNIT_SUITES)
BY_LENGTH := $(foreach s,$(LONG_FIRST),$(filter %/$(s),$(BY_NAME)))
SUITE_PROGRAMS := $(filter-out $(addprefix %/,$(WITHOUT)),$(BY_LENGTH) $(filter-out $(BY_LENGTH),$(BY_NAME)))
tests: $(SUITE_PROGRAMS) $(BUNDLES) $(TEST_BUNDLES) $(FOREIGN) $(PROGRAMS)

# A bundle as strangers write them, which the offline program is tested with.
FOREIGN_DIR := hosts-test/siskin/tests/foreign
$(FOREIGN): $(FOREIGN_DIR)/foreign.c $(wildcard $(FOREIGN_DIR)/*.ttl)
	@mkdir -p $(@D)
	$(call say,LINK,$@)$(CC) $(ALL_CFLAGS) $(SHARED_LDFLAGS) -o $@ $< -lm
	@cp $(FOREIGN_DIR)/*.ttl $(@D)

# First command on a bare machine: gets what is missing, then builds and tests. Under ten minutes on two cores:
# what takes longer is LEFT to check-all, and so are most rates of the contract.
LEFT ?= test_advise_voices
check:
	@hosts-test/setup.sh check
	@$(MAKE) --no-print-directory -j$(JOBS) WITHOUT='$(LEFT)' tests ttl-check
	@echo 'left to make check-all: $(if $(LEFT),$(LEFT); )the contract at every rate; sanitizers, valgrind, lint'
	@$(MAKE) --no-print-directory WITHOUT='$(LEFT)' check-run

check-run: tests ttl-check $(if $(SISKIN_HOSTS),$(BUILD)/jack_play)
	@BUILD=$(BUILD) hosts-test/run_suites.sh $(SUITE_PROGRAMS)

# Nothing is left out, and nothing left to chance.
check-all:
	@hosts-test/setup.sh ci
	@$(MAKE) --no-print-directory lint
	@SISKIN_ALL=1 $(MAKE) --no-print-directory check-asan
	@SISKIN_ALL=1 $(MAKE) --no-print-directory check-ubsan
	@$(MAKE) --no-print-directory valgrind HEAVY=
	@SISKIN_ALL=1 SISKIN_HOSTS=all $(MAKE) --no-print-directory check LEFT=

JOBS ?= $(shell nproc)

# Every third of some names, where PART= is 0, 1 or 2; else all. PARTS=2 makes it every other one.
PART ?=
PARTS ?= 3
part_of = $(if $(PART),$(shell printf '%s\n' $(1) | awk 'NR % $(PARTS) == $(PART)'),$(1))
PARTED = $(SUITES) $(filter-out test_contract,$(HOST_SUITES))
OTHER_PART = $(filter-out $(call part_of,$(PARTED)),$(PARTED))
GRINDED = $(call part_of,$(filter-out $(HEAVY),$(SUITES)))

# The same suites with the compiler's watch on memory and on undefined behaviour, or on both at once, as CI has it.
# Plugins are built so, too. Other people's hosts cannot load a library that wants the address sanitizer's runtime.
# PART=0, 1 or 2 asks every third suite, and the contract.
# $(1) build folder, $(2) sanitizers, $(3) suites left out
define sanitized
	@$(MAKE) --no-print-directory -j$(JOBS) BUILD=build/$(1) OPT=-O1 FORTIFY=0 WITHOUT='$(3)' \
	  SAN='-fsanitize=$(2) -fno-sanitize-recover=all -fno-omit-frame-pointer' tests
	@ASAN_OPTIONS=detect_leaks=1 $(MAKE) --no-print-directory BUILD=build/$(1) OPT=-O1 FORTIFY=0 WITHOUT='$(3)' \
	  SAN='-fsanitize=$(2) -fno-sanitize-recover=all -fno-omit-frame-pointer' check-run
endef
check-asan:
	$(call sanitized,asan,address,test_outside test_view_hosts $(LEFT))
check-ubsan:
	$(call sanitized,ubsan,undefined,$(LEFT))
check-sanitized:
	$(call sanitized,sanitized,address$(comma)undefined,test_outside test_view_hosts $(LEFT) $(OTHER_PART))

# The unit suites under valgrind. Not the bundle suites: they interpose the same calls as it does. A few
# suites render minutes of audio, which takes an hour here; their units have suites of their own, so
# they are left to `make valgrind HEAVY=`. PART=0, 1 or 2 asks every third suite of the rest.
HEAVY ?= test_band_colour test_band_mender test_breath_ducker test_breath_ducker_hops test_click_finder test_de_esser test_de_esser_words \
  test_decimator test_double_voice test_drive test_edge_filter test_gap_gate test_gap_trimmer test_harmony test_hum test_level_match test_loudness \
  test_mains test_make_room test_notes_sung test_oversample test_peak_ceiling test_period_marks test_pitch test_pitch_path test_psola \
  test_plate_reverb test_resonances test_rumble_filter test_scene test_scene_sounds test_singer test_slap_echo \
  test_smooth_compressor test_soft_drive test_tail_network test_thumps test_transient_tamer test_voice_double
valgrind: tests
	@CK_FORK=no CK_DEFAULT_TIMEOUT=0 BUILD=$(BUILD) \
	  WRAP='valgrind -q --error-exitcode=9 --leak-check=full --errors-for-leak-kinds=definite' \
	  hosts-test/run_suites.sh $(GRINDED:%=$(BUILD)/tests/%)

# Views opened and closed a thousand times: nothing may be read before it is written, or be left.
.PHONY: view-opens
view-opens: $(BUILD)/hosts-test/test_view $(BUNDLES)
	@SISKIN_OPENS=$(or $(OPENS),1000) CK_FORK=no CK_DEFAULT_TIMEOUT=0 CK_RUN_CASE=opens valgrind -q --error-exitcode=9 \
	  --leak-check=full --errors-for-leak-kinds=definite --suppressions=hosts-test/view/fonts.supp $(BUILD)/hosts-test/test_view

# Every window in Ardour by keys and mouse, where it is installed; what it has saved is compared with the ports. A
# quarter of an hour; URIS= asks for some alone.
.PHONY: view-ardour
view-ardour: $(BUNDLES)
	@BUILD=$(BUILD) hosts-test/view/ardour.sh $(URIS)

# ---- lint ----

C_FILES := $(sort $(wildcard common/*.[ch] common/*/*.[ch] plugins/*.c plugins/*/*.[ch] ttl/*.c tests/*.[ch] \
  hosts-test/*/*.[ch] hosts-test/*/*/*.[ch] hosts-test/*/*/*/*.[ch]))
LINT_C := $(filter %.c,$(C_FILES))
# Strings as macros carry quotes that must outlive one more shell.
LINT_FLAGS = -std=c11 -Icommon -Iplugins $(VIEW_CFLAGS) $(subst ",\",$(subst ',,$(HOST_DEFS))) $(PKG_CFLAGS) -DSISKIN_ID=\"lint\"

lint:
	hosts-test/includes.sh
	BUILD=$(BUILD) hosts-test/package/supply.sh licence
	clang-format --dry-run -Werror $(C_FILES)
	! awk 'length > 100 && !/^ \*    / { print FILENAME ":" FNR ": over 100 columns" }' $(C_FILES) | grep .
	cppcheck --quiet --error-exitcode=1 --std=c11 --enable=warning,portability,performance \
	  --inline-suppr --suppress=missingIncludeSystem -Icommon -Iplugins -Ihosts-test -Itests $(LINT_C)
	printf '%s\n' $(LINT_C) | xargs -P $(JOBS) -n 1 sh -c 'clang-tidy --quiet "$$@" -- $(LINT_FLAGS)' lint

format:
	clang-format -i $(C_FILES)

# ---- what it does, and what it costs ----

quality: $(BUILD)/siskin-quality $(BUNDLES)
	@$(BUILD)/siskin-quality
bench: $(BUILD)/siskin-bench $(BUNDLES) $(TEST_BUNDLES)
	@$(BUILD)/siskin-bench
# Every other host that is installed, too (make check has only the first three).
hosts: $(BUILD)/hosts-test/test_outside $(BUNDLES) $(BUILD)/siskin $(BUILD)/jack_play
	@SISKIN_HOSTS=all $(BUILD)/hosts-test/test_outside
demo:
	@hosts-test/setup.sh demo
	@$(MAKE) --no-print-directory -j$(JOBS) bundles programs $(BUILD)/siskin-band $(BUILD)/siskin-demo
	@BUILD=$(BUILD) hosts-test/demo/demo.sh
# The README's pictures, after make demo.
.PHONY: picture
picture: $(BUILD)/siskin-window
	@BUILD=$(BUILD) hosts-test/demo/picture.sh

# ---- installing ----
# Root installs for all users; anybody else into their own folders.

ifeq ($(shell id -u),0)
PREFIX ?= /usr/local
LV2DIR ?= $(PREFIX)/lib/lv2
else
PREFIX ?= $(HOME)/.local
LV2DIR ?= $(HOME)/.lv2
endif
# Not where a user's own chains are (share/siskin/chains of their home), which uninstalling leaves alone.
CHAINDIR = $(PREFIX)/share/siskin/ready
MANDIR = $(PREFIX)/share/man/man1
COMPLETIONDIR = $(PREFIX)/share/bash-completion/completions
CHAINS := $(wildcard hosts-test/siskin/chains/*.chain)

install: bundles $(BUILD)/siskin
	install -d '$(DESTDIR)$(PREFIX)/bin' '$(DESTDIR)$(LV2DIR)' '$(DESTDIR)$(CHAINDIR)' '$(DESTDIR)$(MANDIR)' \
	  '$(DESTDIR)$(COMPLETIONDIR)'
	install -m 644 hosts-test/package/debian/siskin.1 '$(DESTDIR)$(MANDIR)/siskin.1'
	install -m 644 hosts-test/package/siskin.bash '$(DESTDIR)$(COMPLETIONDIR)/siskin'
	install -m 755 $(BUILD)/siskin '$(DESTDIR)$(PREFIX)/bin/siskin'
	$(if $(CHAINS),install -m 644 $(CHAINS) '$(DESTDIR)$(CHAINDIR)')
	for p in $(PLUGINS); do \
	  b='$(DESTDIR)$(LV2DIR)'/siskin-$$p.lv2; install -d "$$b" && \
	  install -m 644 $(BUILD)/lv2/siskin-$$p.lv2/*.ttl "$$b" && \
	  install -m 755 $(BUILD)/lv2/siskin-$$p.lv2/*.$(SHLIB) "$$b" || exit 1; done
	$(if $(UNGROUPED),hosts-test/outside/ungroup.sh $(PLUGINS:%='$(DESTDIR)$(LV2DIR)'/siskin-%.lv2))

uninstall:
	rm -f '$(DESTDIR)$(PREFIX)/bin/siskin' '$(DESTDIR)$(MANDIR)/siskin.1' '$(DESTDIR)$(COMPLETIONDIR)/siskin'
	for c in $(notdir $(CHAINS)); do rm -f '$(DESTDIR)$(CHAINDIR)'/$$c; done
	-rmdir '$(DESTDIR)$(CHAINDIR)' '$(DESTDIR)$(PREFIX)/share/siskin' 2>/dev/null
	for p in $(PLUGINS); do rm -rf '$(DESTDIR)$(LV2DIR)'/siskin-$$p.lv2; done

clean:
	rm -rf $(BUILD)

include hosts-test/package/package.mk hosts-test/harm/harm.mk hosts-test/machines/machines.mk

-include $(shell find $(BUILD)/obj -name '*.d' 2>/dev/null)
