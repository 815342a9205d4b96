# For systems that have another OpenCV:
#   docker build -t boltrose .
#   docker run --rm -v "$PWD:/work" --user "$(id -u):$(id -g)" boltrose read rubbing.png

FROM golang:1.26-bookworm AS build
RUN apt-get update \
 && apt-get install -y --no-install-recommends g++ libopencv-dev pkg-config \
 && rm -rf /var/lib/apt/lists/*
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN make build

# The two OpenCV libraries that the Makefile links with.
FROM debian:bookworm-slim
RUN apt-get update \
 && apt-get install -y --no-install-recommends libopencv-core406 libopencv-imgproc406 \
 && rm -rf /var/lib/apt/lists/* \
 && useradd --create-home boltrose
COPY --from=build /src/build/boltrose /usr/local/bin/boltrose
COPY LICENSE /usr/share/doc/boltrose/LICENSE
USER boltrose
WORKDIR /work
ENTRYPOINT ["boltrose"]
