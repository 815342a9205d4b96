# make demo   set up, build, and read the sample rubbing
# make test   set up, run the linters and all tests
# make build  build build/boltrose
# make bench  benchmarks of the steps and of the whole process
# make fuzz   run every fuzz target for FUZZTIME each
# make bench-folder   time and memory of whole folders
# make vulncheck      known vulnerabilities in the libraries
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

.PHONY: demo test build lint bench bench-folder fuzz vulncheck setup setup-test

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
	$(MAKE) --no-print-directory fuzz FUZZTIME=2s

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

# 200 scans of 150 dpi with one worker and two, memory at 20 to 2,000 files, and
# 10,000 tiny ones: some hours, most of it for the 2,000.
bench-folder: build
	$(GO) build -tags $(TAGS) -o build/scans ./cmd/internal/bench/scans
	build/scans 200 build/bench-folder/mixed
	build/scans -dpi 100 2000 build/bench-folder/many
	build/scans -tiny 10000 build/bench-folder/tiny
	echo 'dpi = 150' > build/bench-folder/mixed/boltrose.toml
	$(GO) run ./cmd/internal/bench/folders build/boltrose build/bench-folder/mixed build/bench-folder/many build/bench-folder/tiny

# Known holes in what is built in, as far as this program reaches them.
vulncheck: setup
	$(GO) tool govulncheck -tags $(TAGS) ./...

# A package's tests are built once, with what fuzzing needs, and run for each of
# its targets. An input that fails is kept in the package's testdata/fuzz and is
# a test from then on.
fuzz: setup
	@set -e; work=$(CURDIR)/build/fuzz; mkdir -p $$work; \
	for dir in $$($(GO) list -tags $(TAGS) -f '{{.Dir}}' ./...); do \
		grep -qs '^func Fuzz' $$dir/*_test.go || continue; \
		$(GO) test -tags $(TAGS) -fuzz . -c -o $$work/test $$dir; \
		cd $$dir; \
		for target in $$($$work/test -test.list '^Fuzz' | grep '^Fuzz'); do \
			echo "$${dir#$(CURDIR)/} $$target"; \
			$$work/test -test.run '^$$' -test.fuzz "^$$target\$$" -test.fuzztime $(FUZZTIME) \
				-test.fuzzminimizetime 1x -test.fuzzcachedir $$work/cache/$$target > $$work/log 2>&1 || { cat $$work/log; exit 1; }; \
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
