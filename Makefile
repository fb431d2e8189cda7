# SPDX-License-Identifier: GPL-3.0-or-later
# Everything built goes under $(BUILD). A target that a person calls first sees to the packages it
# needs, then makes do-TARGET in a second make: the first may have started before there was a
# compiler. `make help` lists the targets.
BUILD ?= build
STAGES ?= base sound voice register fit lesson journal show command
CFLAGS ?= -O3 -g
PREFIX ?= /usr/local
HOUSE = -std=c17 -D_XOPEN_SOURCE=700 -ffp-contract=off -fno-math-errno -Isrc -Itests \
  -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wstrict-prototypes -Wmissing-prototypes -Wvla \
  -Wundef -Wwrite-strings -Wformat=2 -Wno-psabi
ifdef DEV
HOUSE += -Werror
endif
# A short line in place of the command; V=1 shows commands, -s nothing.
said = $(if $(V)$(findstring s,$(filter-out --%,$(firstword -$(MAKEFLAGS)))),,@echo "$(1)";)
LIBS = -lsndfile -lfftw3f -lgsl -lgslcblas -lsqlite3 -ljansson -lsoxr -lnettle -lm -pthread

# Debian's packages. gnuplot comes in several that shut each other out, so that the program itself
# is looked for.
PACKAGES = gcc libc6-dev libsndfile1-dev libfftw3-dev libgsl-dev libsqlite3-dev libjansson-dev \
  libsoxr-dev nettle-dev
TEST_PACKAGES = libcmocka-dev python3 mandoc ffmpeg
LINT_PACKAGES = clang clang-format clang-tidy cppcheck
COVER_PACKAGES = gcovr
# Others that pitch is compared with; the program needs none of them.
PEER_PACKAGES = libaubio-dev sptk
PAGE_PACKAGES = chromium poppler-utils
# A cluster of one node; the program needs none of them.
CLUSTER_PACKAGES = slurm-wlm munge
SURVREG_PACKAGES = r-base-core r-cran-survival r-cran-rsqlite

SRC := $(foreach s,$(STAGES),$(wildcard src/$(s)/*.c))
PLOTS := $(patsubst plots/%.gp,$(BUILD)/plots/%.o,$(wildcard plots/*.gp))
OBJ := $(SRC:%.c=$(BUILD)/%.o) $(if $(filter show,$(STAGES)),$(PLOTS))
VOICE := $(filter-out %/testvoice.c %/testvoice2.c,$(wildcard tests/voice/*.c tests/voice2/*.c tests/voice3/*.c))
VOICE_OBJ := $(VOICE:%.c=$(BUILD)/%.o)
TESTS := $(patsubst tests/%.c,$(BUILD)/%,$(wildcard tests/test_*.c))
# The longest first, so that at the end no processor waits for one of them.
LONG_TESTS = voice2 check docs contact sheet_command boundary commands batch split pictures blocks \
  trust faults readme trill journal
RUNS := $(LONG_TESTS:%=run-test_%)
RUNS += $(filter-out $(RUNS),$(TESTS:$(BUILD)/%=run-%))
PROGRAMS := $(if $(wildcard src/main.c),$(BUILD)/seamline) \
  $(if $(wildcard tests/voice/testvoice.c),$(BUILD)/testvoice) \
  $(if $(wildcard tests/voice2/testvoice2.c),$(BUILD)/testvoice2)
JOBS = $(if $(filter -j%,$(MAKEFLAGS)),,-j$$(nproc)) --no-print-directory
SANITIZE = BUILD=$(BUILD)/san \
  CFLAGS='-O1 -g -fno-omit-frame-pointer -fsanitize=address,undefined -fno-sanitize-recover=all'

all: deps ## build the program, build/seamline (the default)
	@$(MAKE) $(JOBS) do-all
demo: deps ## an invented studio from recordings to maps, in build/demo
	@$(MAKE) $(JOBS) do-demo
plots: demo ## the pictures of plots/gallery, which README shows, from the demo
	@mkdir -p plots/gallery
	@cp $(BUILD)/demo/wren.png plots/gallery/map.png
	@for p in sessions progress held take explain; do \
	  cp $(BUILD)/demo/wren-$$p.png plots/gallery/$$p.png; done
	@cp $(BUILD)/demo/compare.png plots/gallery/compare.png
test: deps-test ## build and run every test
	@$(MAKE) $(JOBS) do-test
test-san: deps-test ## the tests under the address and undefined-behaviour sanitizers
	@$(MAKE) $(JOBS) $(SANITIZE) do-test
test-journal: deps-test ## the journal killed 500 times, every write failing, four writers, 10,000 takes, a batch of 500; takes an hour
	@$(MAKE) $(JOBS) do-test-journal
test-long: deps-test ## three hours of 96 kHz, analysed, added and by a pipe, in under 100 MB; takes an hour
	@$(MAKE) $(JOBS) do-test-long
cover: deps-cover ## which lines the tests reach, by file
	@$(MAKE) $(JOBS) BUILD=$(BUILD)/cover CFLAGS='-O0 -g --coverage' do-test
	@gcovr --root . --filter src/ --object-directory $(BUILD)/cover $(BUILD)/cover
lint: deps-lint ## layout, lengths, licence lines, formatting, two compilers and two checkers
	@$(MAKE) $(JOBS) do-lint
format: deps-lint ## put every source file into the house's format
	@clang-format -i $(FORMATTED)
mutants: deps-test ## edits of one line, each of which a test has to notice
	@tests/mutants $(BUILD)/mutants
test-peers: deps-peers ## write docs/pitch.md: pitch beside that of others; REAL=FOLDER adds recordings
	@$(MAKE) $(JOBS) do-test-peers
test-survreg: deps-survreg ## the boundary's likelihood beside that of survreg, R's censored regression; the examples in R
	@$(MAKE) $(JOBS) do-test-survreg
test-intervals: deps-test ## 200 simulated singers a cell: fails where a row of docs/intervals.md would fall short; two minutes
	@$(MAKE) $(JOBS) do-test-intervals
test-page: deps-page ## the pages of report in headless Chromium: console, layout, screen readers, print
	@$(MAKE) $(JOBS) do-test-page
test-cluster: deps-cluster ## docs/journal.md's array job on a cluster of one node, which it starts and stops
	@$(MAKE) $(JOBS) do-test-cluster
bench: deps-peers ## how long listening takes for a second of sound, beside aubio's yinfft
	@$(MAKE) $(JOBS) do-bench
intervals: deps-test ## write docs/intervals.md: how often intervals hold the truth; RUNS_A_CELL=2000 is the long form
	@$(MAKE) $(JOBS) do-intervals
accuracy: deps-test ## write docs/accuracy.md: how right the answers are on voices of known truth
	@$(MAKE) $(JOBS) do-accuracy
held: deps-test ## how right held is on voices of known truth, as a table; SEEDS="1 2" chooses singers
	@$(MAKE) $(JOBS) do-held
checks: deps-test ## what check names of planted faults, and its false alarms, as tables; SEEDS likewise
	@$(MAKE) $(JOBS) do-checks
lesson: deps-lesson ## whole lessons of a quarter of an hour with talk, split, as a table; SEEDS likewise
	@$(MAKE) $(JOBS) do-lesson
trust: deps-test ## learn src/register/trust_table.h anew from the first test voice
	@$(MAKE) $(JOBS) do-trust
install: deps ## install program, manual and completion under $(PREFIX), /usr/local unless given; DESTDIR is heeded
	@$(MAKE) $(JOBS) do-install
uninstall: ## remove what install put there
	rm -f $(INSTALLED)/bin/seamline $(INSTALLED)/$(COMPLETION) \
	  $(INSTALLED)/$(MAN)/seamline.1 $(INSTALLED)/$(MAN)/seamline-*.1
clean: ## remove everything built
	rm -rf $(BUILD)
help: ## this list
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "make %-13s %s\n", $$1, $$2 }' Makefile

# Installs what is missing of the Debian packages named in $(1); without dpkg it is for the
# compiler to say what is missing.
define install
@missing=; \
command -v dpkg-query >/dev/null || exit 0; \
for p in $(1); do \
  dpkg-query -W -f '$${Status}\n' $$p 2>/dev/null | grep -q ' installed$$' || missing="$$missing $$p"; \
done; \
command -v gnuplot >/dev/null || missing="$$missing gnuplot-nox fonts-dejavu-core"; \
[ -n "$$missing" ] || exit 0; \
if [ "$$(id -u)" = 0 ]; then as=; elif command -v sudo >/dev/null; then as=sudo; else as=none; fi; \
apt() { $$as env DEBIAN_FRONTEND=noninteractive apt-get -q -o DPkg::Lock::Timeout=300 "$$@"; }; \
[ "$$as" != none ] && apt update && apt install -y --no-install-recommends $$missing && exit 0; \
echo "These packages are needed and could not be installed from here; as root, run:" \
  "apt-get install$$missing" >&2; exit 1
endef

deps:
	$(call install,$(PACKAGES))
deps-test:
	$(call install,$(PACKAGES) $(TEST_PACKAGES))
deps-lint:
	$(call install,$(PACKAGES) $(TEST_PACKAGES) $(LINT_PACKAGES) $(PEER_PACKAGES))
deps-peers:
	$(call install,$(PACKAGES) $(TEST_PACKAGES) $(PEER_PACKAGES))
deps-page:
	$(call install,$(PACKAGES) $(TEST_PACKAGES) $(PAGE_PACKAGES))
deps-survreg:
	$(call install,$(PACKAGES) $(SURVREG_PACKAGES))
deps-cluster:
	$(call install,$(PACKAGES) $(CLUSTER_PACKAGES))
deps-lesson:
	$(call install,$(PACKAGES) $(TEST_PACKAGES) espeak-ng)
deps-cover:
	$(call install,$(PACKAGES) $(TEST_PACKAGES) $(COVER_PACKAGES))

do-all: $(PROGRAMS)

# Comparisons may be worked on together: nobody looks at the processor's flags.
$(BUILD)/src/%.o: HOUSE += -fno-trapping-math
$(BUILD)/%.o: %.c
	@mkdir -p $(@D)
	$(call said,cc $<)$(CC) $(HOUSE) $(CFLAGS) -MMD -MP -c -o $@ $<

# Templates are part of the program: plots/NAME.gp becomes the string plot_NAME.
$(BUILD)/plots/%.c: plots/%.gp
	@mkdir -p $(@D)
	@{ echo '#include "show/templates.h"'; echo 'const char plot_$*[] = {'; \
	  od -An -v -to1 $< | sed "s/ *\([0-7]\{3\}\)/'\\\\\1',/g"; echo '0};'; } > $@
$(BUILD)/plots/%.o: $(BUILD)/plots/%.c
	$(call said,cc $<)$(CC) $(HOUSE) $(CFLAGS) -MMD -MP -c -o $@ $<

$(BUILD)/libseamline.a: $(OBJ)
	@mkdir -p $(@D); rm -f $@; ar rcs $@ $^
$(BUILD)/libtestvoice.a: $(VOICE_OBJ)
	@mkdir -p $(@D); rm -f $@; ar rcs $@ $^
$(BUILD)/seamline: $(BUILD)/src/main.o $(BUILD)/libseamline.a
	$(call said,link $@)$(CC) $(CFLAGS) -o $@ $^ $(LIBS)
$(BUILD)/testvoice: $(BUILD)/tests/voice/testvoice.o $(BUILD)/libtestvoice.a $(BUILD)/libseamline.a
	$(call said,link $@)$(CC) $(CFLAGS) -o $@ $^ $(LIBS)
$(BUILD)/testvoice2: $(BUILD)/tests/voice2/testvoice2.o $(BUILD)/libtestvoice.a $(BUILD)/libseamline.a
	$(call said,link $@)$(CC) $(CFLAGS) -o $@ $^ $(LIBS)
$(BUILD)/test_%: $(BUILD)/tests/test_%.o $(BUILD)/libtestvoice.a $(BUILD)/libseamline.a
	$(call said,link $@)$(CC) $(CFLAGS) -o $@ $^ -lcmocka $(LIBS)
$(BUILD)/%: $(BUILD)/tests/%.o $(BUILD)/libtestvoice.a $(BUILD)/libseamline.a
	$(call said,link $@)$(CC) $(CFLAGS) -o $@ $^ $(LIBS)

# Loaded before the C library by tests/test_faults.c; never instrumented.
$(BUILD)/test_faults: | $(BUILD)/failing_disk.so
$(BUILD)/failing_disk.so: tests/faults/disk.c
	@mkdir -p $(@D)
	$(call said,cc $<)$(CC) $(HOUSE) -O2 -shared -fPIC -o $@ $< -ldl

# What a test asks of the program takes far longer than the test's own lines.
$(TESTS:$(BUILD)/%=$(BUILD)/tests/%.o): CFLAGS += -O1

# Each test program's output is kept in $(BUILD)/log; a program that dies counts as a failed test.
# Tests find the programs by $SEAMLINE and $TESTVOICE.
do-test: $(PROGRAMS) $(TESTS) $(BUILD)/long
	@rm -rf $(BUILD)/log; mkdir -p $(BUILD)/log
	@$(MAKE) --no-print-directory --output-sync=target -k $(RUNS); code=$$?; \
	tests/tally $(BUILD)/log/*; exit $$code
$(RUNS): run-%:
	@SEAMLINE=$(abspath $(BUILD))/seamline TESTVOICE=$(abspath $(BUILD))/testvoice \
	  tests/run $(BUILD)/$* $(BUILD)/log/$*

# The long forms of three tests; 10,000 takes need 2 GB where the temporary files lie.
do-test-journal: $(PROGRAMS) $(BUILD)/test_faults $(BUILD)/test_load $(BUILD)/test_batch
	@mkdir -p $(BUILD)/log
	@for t in test_load test_batch test_faults; do \
	  FAULTS=500 LOAD_SECONDS=60 LOAD_TAKES=10000 BATCH=500 SEAMLINE=$(abspath $(BUILD))/seamline \
	    TESTVOICE=$(abspath $(BUILD))/testvoice tests/run $(BUILD)/$$t $(BUILD)/log/$$t || exit 1; done

# Needs 4 GB where the temporary files lie.
LONG_MINUTES = 180
LONG_MB = 100
do-test-long: $(PROGRAMS) $(BUILD)/long
	@mkdir -p $(BUILD)/long-takes
	@$(BUILD)/testvoice render tests/long.tsv $(BUILD)/long-takes
	@$(BUILD)/long $(BUILD)/seamline $(BUILD)/long-takes $(LONG_MINUTES) $(LONG_MB)

do-demo: $(PROGRAMS) $(BUILD)/demo_compare
	@tests/demo.sh $(BUILD)

# The programs of tests/peers; yinfft is apart, so that nothing else links aubio.
$(BUILD)/yinfft: $(BUILD)/tests/peers/yinfft.o $(BUILD)/libseamline.a
	$(call said,link $@)$(CC) $(CFLAGS) -o $@ $^ -laubio $(LIBS)
$(BUILD)/peers: $(BUILD)/tests/peers/peers.o $(BUILD)/tests/peers/hear.o \
  $(BUILD)/libtestvoice.a $(BUILD)/libseamline.a
	$(call said,link $@)$(CC) $(CFLAGS) -o $@ $^ $(LIBS)
do-test-peers: $(BUILD)/peers $(BUILD)/yinfft $(BUILD)/accuracy-takes/voice
	@$< --programs $(BUILD) --takes $(BUILD)/accuracy-takes $(if $(REAL),--real '$(REAL)') \
	  > $(BUILD)/pitch.md
	@mkdir -p docs; mv $(BUILD)/pitch.md docs/pitch.md; cat docs/pitch.md

$(BUILD)/slides: $(BUILD)/tests/survreg/slides.o $(BUILD)/libtestvoice.a $(BUILD)/libseamline.a
	$(call said,link $@)$(CC) $(CFLAGS) -o $@ $^ $(LIBS)
do-test-survreg: $(BUILD)/slides $(PROGRAMS) $(BUILD)/test_docs
	@mkdir -p $(BUILD)/survreg; $< $(BUILD)/survreg
	@Rscript --vanilla tests/survreg/compare.R $(BUILD)/survreg
	@SEAMLINE=$(abspath $(BUILD))/seamline TESTVOICE=$(abspath $(BUILD))/testvoice $(BUILD)/test_docs

$(BUILD)/page: $(BUILD)/tests/page/page.o $(BUILD)/tests/page/browser.o $(BUILD)/libseamline.a
	$(call said,link $@)$(CC) $(CFLAGS) -o $@ $^ -lcmocka $(LIBS)
do-test-page: $(PROGRAMS) $(BUILD)/page
	@SEAMLINE=$(abspath $(BUILD))/seamline $(BUILD)/page

do-test-cluster: $(PROGRAMS)
	@tests/cluster.sh $(BUILD)

do-bench: $(PROGRAMS) $(BUILD)/bench $(BUILD)/yinfft
	@$(BUILD)/testvoice family clear 3 $(BUILD)/bench-takes
	@$(BUILD)/bench $(BUILD)/yinfft $(BUILD)/bench-takes/take-*.wav

# Takes are rendered again when a test voice has changed. What is given in $(ACCURACY) (--voice 2
# --family smooth --seeds 1-9) is printed alone; else the page's tables are, below what is written
# above them by hand.
REPORTED = 1:1000-1005 2:1000-1005 3:1000-1007
$(BUILD)/accuracy-takes/voice: $(VOICE_OBJ)
	@rm -rf $(@D); mkdir -p $(@D) docs; touch $@
do-accuracy: $(BUILD)/accuracy $(BUILD)/accuracy-takes/voice
ifdef ACCURACY
	@$< --takes $(BUILD)/accuracy-takes $(ACCURACY)
else
	@sed '/^## The test voice/,$$d' docs/accuracy.md | sed '$$d' > $(BUILD)/accuracy.md
	@for part in $(REPORTED); do \
	  $< --takes $(BUILD)/accuracy-takes --voice $${part%:*} --seeds $${part#*:} \
	    > $(BUILD)/accuracy-part.md || exit 1; \
	  sed '1,/^A found flip/d' $(BUILD)/accuracy-part.md >> $(BUILD)/accuracy.md; \
	done
	@mv $(BUILD)/accuracy.md docs/accuracy.md; cat docs/accuracy.md
endif

SEEDS = 1000 1003
do-held: $(BUILD)/held
	@$< $(SEEDS)
do-lesson: $(BUILD)/lesson
	@$< $(SEEDS)
do-checks: $(BUILD)/checks
	@$< $(SEEDS)

# The weights that the takes are decoded with choose among worlds, so they are learnt in rounds: run
# it until the calibration no longer improves.
do-trust: $(BUILD)/trust $(BUILD)/accuracy-takes/voice
	@$< --takes $(BUILD)/accuracy-takes > $(BUILD)/trust_table.h
	@mv $(BUILD)/trust_table.h src/register/trust_table.h
	@clang-format -i src/register/trust_table.h

RUNS_A_CELL = 200
do-intervals: $(BUILD)/intervals $(BUILD)/shifts $(BUILD)/proposals
	@{ $(BUILD)/intervals $(RUNS_A_CELL) && $(BUILD)/shifts $(RUNS_A_CELL) && \
	  $(BUILD)/proposals $$(($(RUNS_A_CELL) / 4)); } > $(BUILD)/intervals.md
	@mkdir -p docs; mv $(BUILD)/intervals.md docs/intervals.md; cat docs/intervals.md

# Cells 1 to 11 are of one session and straight boundaries; curved ones are short of it (see the page).
do-test-intervals: $(BUILD)/intervals
	@seq 11 | xargs -P 2 -I CELL $< 200 CELL > $(BUILD)/test-intervals.md
	@awk -F'|' 'NF > 3 { rows++ } NF > 3 && $$(NF - 1) ~ /[a-z]/ { print; short++ } \
	  END { print rows " rows, " short + 0 " short of what is asked"; exit rows != 121 || short > 0 }' \
	  $(BUILD)/test-intervals.md

FORMATTED = $(wildcard src/*.[ch] src/*/*.[ch] tests/*.[ch] tests/*/*.[ch])
do-lint: lint-style lint-gcc lint-clang lint-cppcheck lint-tidy
lint-style:
	@tests/style
	@clang-format --dry-run -Werror $(FORMATTED)
lint-gcc lint-clang: lint-%:
	@$(MAKE) -s --no-print-directory CC=$* BUILD=$(BUILD)/lint-$* DEV=1 do-compile
lint-cppcheck:
	@cppcheck -q --std=c11 --enable=warning,performance,portability --inline-suppr \
	  --suppress=missingIncludeSystem --suppress=ctuuninitvar --suppress=invalidFunctionArg --error-exitcode=1 -Isrc -Itests src tests
TIDY = $(patsubst %.c,%.tidy,$(filter %.c,$(FORMATTED)))
lint-tidy: $(TIDY)
# The analyzer, which takes nearly all of the time, follows src alone: tests are run by the sanitizers.
$(TIDY): %.tidy:
	@said=$$(clang-tidy --quiet $(if $(filter tests/%,$@),--checks=-clang-analyzer-*) $*.c -- $(filter-out -W%,$(HOUSE)) 2>&1) || { echo "$$said"; exit 1; }

do-compile: $(PROGRAMS) $(patsubst tests/%.c,$(BUILD)/%,$(wildcard tests/*.c))

INSTALLED = $(DESTDIR)$(PREFIX)
MAN = share/man/man1
COMPLETION = share/bash-completion/completions/seamline
do-install: $(BUILD)/seamline $(BUILD)/man
	install -D -m 755 $(BUILD)/seamline $(INSTALLED)/bin/seamline
	install -D -m 644 -t $(INSTALLED)/$(MAN) $(BUILD)/man/*.1
	install -D -m 644 data/seamline.bash $(INSTALLED)/$(COMPLETION)
# The program writes its own manual, a page for each command that it would complete.
$(BUILD)/man: $(BUILD)/seamline
	@rm -rf $@; mkdir -p $@; $< help --man > $@/seamline.1; \
	for c in $$($< complete -- '' | sed 1d); do $< help --man $$c > $@/seamline-$$c.1 || exit 1; done

.PHONY: all checks do-checks held do-held lesson do-lesson deps-lesson test-journal do-test-journal test-cluster do-test-cluster deps-cluster test-long demo do-demo plots test test-san cover mutants lint format bench intervals do-intervals test-intervals do-test-intervals accuracy do-accuracy trust do-trust install uninstall clean help $(RUNS) deps \
  deps-test deps-lint deps-cover deps-peers do-all do-test do-test-long do-bench do-lint do-compile do-install test-peers do-test-peers test-page do-test-page deps-page test-survreg do-test-survreg deps-survreg \
  lint-style lint-gcc lint-clang lint-cppcheck lint-tidy $(TIDY)
.PRECIOUS: $(BUILD)/%.o $(BUILD)/plots/%.c
-include $(shell find $(BUILD) -name '*.d' 2>/dev/null)
