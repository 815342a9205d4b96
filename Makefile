# make demo   set up, build, and read the sample rubbing
# make test   set up, run the linters and all tests
# make build  build build/boltrose
# make bench  benchmarks of the steps and of the whole process
# make fuzz   run every fuzz target for FUZZTIME each
#
# A fresh Debian or Ubuntu needs only Go and make; the first build compiles the
# binding to OpenCV, which takes up to a minute.

SHELL    := /bin/bash
GO       ?= go
FUZZTIME ?= 30s

# gocv binds all of OpenCV, and by default each start loads all of it: 264
# libraries, 0.10 s and 77 MB, for a program that uses two of them (with those
# two alone: 22 libraries, 0.01 s, 11 MB). So link with the two, and drop those
# functions of gocv that would need the others: gocv's tag customenv leaves the
# flags to us. Using another part of OpenCV fails to link until its library is
# named here and in the Dockerfile. Plain `go build` and `go test` work too, and
# load everything.
export CGO_CPPFLAGS := -I/usr/include/opencv4
export CGO_CFLAGS   := -O2 -ffunction-sections -fdata-sections
export CGO_CXXFLAGS := $(CGO_CFLAGS)
export CGO_LDFLAGS  := -Wl,--gc-sections -Wl,--as-needed -lopencv_imgproc -lopencv_core
TAGS := customenv

.PHONY: demo test build lint bench fuzz setup setup-test

demo: build
	build/boltrose read samples/cider-press.png --overlay build/cider-press-overlay.png --json build/cider-press.json
	@echo
	@echo "The rubbing:            samples/cider-press.png"
	@echo "What was found on it:   build/cider-press-overlay.png"
	@echo "The reading as JSON:    build/cider-press.json"

build: setup
	$(GO) build -tags $(TAGS) -o build/boltrose ./cmd/boltrose

# The tests that want a file from outside skip when it isn't there;
# BOLTROSE_TESTFILES makes them fail instead.
test: export BOLTROSE_TESTFILES := $(CURDIR)/build/testfiles
# What the desk looks like in a browser, for a person to look at.
test: export BOLTROSE_SCREENSHOTS := $(CURDIR)/build/screenshots
test: lint setup-test build/testfiles/coins.png build/testfiles/left01.jpg
	$(GO) test -tags $(TAGS) -timeout 30m ./...
	$(GO) test -tags $(TAGS),matprofile -run Mats ./...

lint: setup
	@unformatted=$$(gofmt -l .); \
		[ -z "$$unformatted" ] || { echo "run gofmt -w on: $$unformatted"; exit 1; }
	$(GO) vet -tags $(TAGS) ./...
	$(GO) tool staticcheck -tags $(TAGS) ./...

bench: build
	$(GO) test -tags $(TAGS) -run '^$$' -bench . -benchmem ./...
	$(GO) build -tags $(TAGS) -o build/bare ./cmd/internal/bench/bare
	$(GO) run -tags $(TAGS) ./cmd/internal/bench/pages build/bench
	$(GO) run -tags $(TAGS) ./cmd/internal/bench build/boltrose build/bare build/bench/*

fuzz: setup
	@set -e; for package in $$($(GO) list -tags $(TAGS) ./...); do \
		for target in $$($(GO) test -tags $(TAGS) -list '^Fuzz' $$package | grep '^Fuzz' || true); do \
			echo "$$package $$target"; \
			$(GO) test -tags $(TAGS) -run '^$$' -fuzz "^$$target\$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 1x $$package; \
		done; \
	done

setup:
	@.ci/packages g++ libopencv-dev pkg-config

setup-test:
	@.ci/packages chromium openscad poppler-utils python3-ezdxf

# The photograph of 24 coins that the detector must find without any setting.
build/testfiles/coins.png:
	.ci/take python3-skimage usr/lib/python3/dist-packages/skimage/data/coins.png $@

# The chessboard photographs whose lens is published with them; the first comes
# last, so that it stands for all.
BOARDS := $(foreach n,02 03 04 05 06 07 08 09 11 12 13 14 01,left$(n).jpg)
build/testfiles/left01.jpg:
	.ci/take opencv-doc $(foreach b,$(BOARDS),usr/share/doc/opencv-doc/examples/data/$(b) build/testfiles/$(b))
