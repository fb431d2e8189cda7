# SPDX-License-Identifier: GPL-3.0-or-later
BUILD ?= build
STAGES ?= base sound voice register fit lesson journal show command
CFLAGS ?= -O2 -g
HOUSE = -std=c17 -D_XOPEN_SOURCE=700 -ffp-contract=off -Isrc -Itests \
  -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wstrict-prototypes -Wmissing-prototypes -Wvla \
  -Wundef -Wwrite-strings -Wformat=2
ifdef DEV
HOUSE += -Werror
endif
LIBS = -lsndfile -lfftw3f -lgsl -lgslcblas -lsqlite3 -ljansson -lsoxr -lm

SRC := $(foreach s,$(STAGES),$(wildcard src/$(s)/*.c))
OBJ := $(SRC:%.c=$(BUILD)/%.o)
VOICE := $(filter-out tests/voice/testvoice.c,$(wildcard tests/voice/*.c))
VOICE_OBJ := $(VOICE:%.c=$(BUILD)/%.o)
TESTS := $(patsubst tests/%.c,$(BUILD)/%,$(wildcard tests/test_*.c))

all: $(BUILD)/seamline

$(BUILD)/%.o: %.c
	@mkdir -p $(@D)
	$(CC) $(HOUSE) $(CFLAGS) -MMD -MP -c -o $@ $<

$(BUILD)/libseamline.a: $(OBJ)
	@rm -f $@; ar rcs $@ $^
$(BUILD)/libtestvoice.a: $(VOICE_OBJ)
	@rm -f $@; ar rcs $@ $^

$(BUILD)/seamline: $(BUILD)/src/main.o $(BUILD)/libseamline.a
	$(CC) $(CFLAGS) -o $@ $^ $(LIBS)
$(BUILD)/testvoice: $(BUILD)/tests/voice/testvoice.o $(BUILD)/libtestvoice.a $(BUILD)/libseamline.a
	$(CC) $(CFLAGS) -o $@ $^ $(LIBS)
$(BUILD)/%: $(BUILD)/tests/%.o $(BUILD)/libtestvoice.a $(BUILD)/libseamline.a
	$(CC) $(CFLAGS) -o $@ $^ -lcmocka $(LIBS)

test: $(BUILD)/seamline $(BUILD)/testvoice $(TESTS)
	@set -e; for t in $(TESTS); do $$t; done

clean:
	rm -rf $(BUILD)

.PHONY: all test clean
.SECONDARY:
-include $(shell find $(BUILD) -name '*.d' 2>/dev/null)
