# SPDX-License-Identifier: ISC
# What is handed to others: the archive, the Debian packages, and checks of both.

.PHONY: version plugins check-units supply reproducible dist deb
version:
	@echo $(VERSION)
plugins:
	@echo $(PLUGINS)

# The suites of the units alone, with what is on the machine. WRAP is put before each.
check-units: $(UNIT_SUITES)
	@BUILD=$(BUILD) hosts-test/run_suites.sh $^

# Licence headers, symbols, hardening, the same bytes twice, the archive, the Debian package.
supply:
	@hosts-test/setup.sh supply
	@$(MAKE) --no-print-directory -j$(JOBS) bundles programs $(TEST_BUNDLES)
	@BUILD=$(BUILD) MAKE='$(MAKE)' hosts-test/package/supply.sh licence symbols hardening same dist package
reproducible:
	@BUILD=$(BUILD) MAKE='$(MAKE)' hosts-test/package/supply.sh same

# The last commit as an archive, the same bytes wherever it is made. Changes that are not committed are not in it.
DISTDIR ?= $(BUILD)/dist
DIST := siskin-$(VERSION)
dist:
	@rm -rf '$(DISTDIR)' && mkdir -p '$(DISTDIR)'
	@git archive --prefix=$(DIST)/ HEAD | tar -x -C '$(DISTDIR)'
	@epoch=$${SOURCE_DATE_EPOCH:-$$(git log -1 --format=%ct)} && cd '$(DISTDIR)' && \
	  LC_ALL=C tar --create --format=ustar --sort=name --owner=0 --group=0 --numeric-owner --mode=u=rwX,go=rX \
	  --mtime=@$$epoch $(DIST) > $(DIST).tar && gzip -9n $(DIST).tar && rm -r $(DIST)
	@echo '$(DISTDIR)/$(DIST).tar.gz'

# The packages siskin and siskin-lv2. The tree has no debian/ at its top; the copy they are built in has.
DEBTREE := $(BUILD)/deb/$(DIST)
deb:
	@$(MAKE) --no-print-directory dist
	@rm -rf $(BUILD)/deb && mkdir -p $(BUILD)/deb
	@cp '$(DISTDIR)/$(DIST).tar.gz' $(BUILD)/deb/siskin_$(VERSION).orig.tar.gz
	@tar -xzf '$(DISTDIR)/$(DIST).tar.gz' -C $(BUILD)/deb && \
	  cp -r $(DEBTREE)/hosts-test/package/debian $(DEBTREE)/debian
	cd $(DEBTREE) && env -u MAKEFLAGS -u MFLAGS -u MAKELEVEL -u BUILD DEB_BUILD_OPTIONS="parallel=$(JOBS) $$DEB_BUILD_OPTIONS" \
	  dpkg-buildpackage -us -uc
