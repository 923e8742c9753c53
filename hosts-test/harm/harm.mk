# SPDX-License-Identifier: ISC
# What means harm: random and hostile input, kills, full disks.

# ---- libFuzzer under the sanitizers, on the plugins and on what siskin reads ----
# FUZZ_SECONDS for each target; the corpus in fuzz/corpus/ is only read.

FUZZ_SECONDS ?= 600
FUZZ_FLAGS = BUILD=build/fuzz CC=clang OPT=-O1 FORTIFY=0 \
  SAN='-fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=all'
FUZZ_PROGRAMS := $(PLUGINS:%=$(BUILD)/fuzz-plugin-%) $(BUILD)/fuzz-chain $(BUILD)/fuzz-audio
FUZZ_OBJ := $(BUILD)/obj/hosts-test/harm/fuzz

$(BUILD)/fuzz-plugin-%: $(FUZZ_OBJ)/fuzz_plugin.o $(BUILD)/obj/lv2/%/shell.o $(BUILD)/obj/lv2/%/plugin.o $(LIBCOMMON)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -fsanitize=fuzzer -o $@ $^ -lm
$(BUILD)/fuzz-chain $(BUILD)/fuzz-audio: $(BUILD)/fuzz-%: $(FUZZ_OBJ)/fuzz_%.o $(HOST_HELP_OBJ) $(LIBCOMMON)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -fsanitize=fuzzer -o $@ $^ $(HOST_LIBS)

.PHONY: fuzz-programs fuzz faults steps-programs steps mutants
fuzz-programs: $(FUZZ_PROGRAMS)
fuzz:
	@hosts-test/setup.sh ci
	@$(MAKE) --no-print-directory -j$(JOBS) $(FUZZ_FLAGS) fuzz-programs
	@BUILD=build/fuzz JOBS=$(JOBS) hosts-test/harm/fuzz/fuzz.sh $(FUZZ_SECONDS)

# siskin killed, on full disks, on damaged and hostile files, chains and plugins. KILLS=, SEED=
faults: programs bundles $(FOREIGN)
	@BUILD=$(BUILD) hosts-test/harm/faults.sh

# Steps of single blocks under hostile input: instructions, by callgrind; and, over a million blocks, edges of the
# control flow, which clang can have counted.
EDGE_FLAGS = BUILD=build/edges NATIVE=$(BUILD) CC=clang SAN=-fsanitize-coverage=trace-pc
$(BUILD)/steps/%: $(BUILD)/obj/hosts-test/harm/steps.o $(BUILD)/obj/lv2/%/shell.o $(BUILD)/obj/lv2/%/plugin.o \
  $(TEST_HELP_OBJ) $(LIBCOMMON)
	@mkdir -p $(@D)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ -lm
steps-programs: $(PLUGINS:%=$(BUILD)/steps/%)
steps: steps-programs
	@BUILD=$(BUILD) hosts-test/harm/steps.sh instructions $(PLUGINS)
	@$(MAKE) --no-print-directory -j$(JOBS) $(EDGE_FLAGS) steps-programs
	@BUILD=build/edges hosts-test/harm/steps.sh edges $(PLUGINS)

# Faults put into the code, one at a time, and which of them no suite notices. MUTANTS=, SEED=, SCOPE=, VERBOSE=1
mutants:
	@BUILD=$(BUILD) JOBS=$(JOBS) hosts-test/harm/mutants.sh
