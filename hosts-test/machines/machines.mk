# SPDX-License-Identifier: ISC
# Other kinds of machine, under emulators.

# What each plugin makes of one take, to be compared between systems: a program for each plugin.
$(BUILD)/fingerprint/%: $(BUILD)/obj/hosts-test/machines/fingerprint.o $(BUILD)/obj/lv2/%/plugin.o $(LIBCOMMON)
	@mkdir -p $(@D)
	$(call say,LINK,$@)$(CC) $(ALL_LDFLAGS) -o $@ $^ -lm $(if $(findstring mingw,$(TARGET)),,-ldl)

.PHONY: fingerprints other-machines
fingerprints: bundles $(PLUGINS:%=$(BUILD)/fingerprint/%)

# Built for arm64, 32-bit x86 and Windows, and run there. Takes its time.
other-machines:
	@hosts-test/setup.sh machines
	@$(MAKE) --no-print-directory -j$(JOBS) tests fingerprints
	@BUILD=$(BUILD) MAKE='$(MAKE)' JOBS=$(JOBS) hosts-test/machines/machines.sh arm64 i386 windows
