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

# What the program loads, and its licences. Debian's packages of OpenCV would
# bring a graphics stack of 200 MB along that nothing here uses.
RUN set -eu; mkdir -p /loaded/lib; \
    ldd build/boltrose | awk '$3 ~ "^/" && $1 !~ "^lib[cm][.]" { print $3 }' | while read -r library; do \
      cp -L "$library" /loaded/lib/; \
      package=$(dpkg -S "*/$(basename "$(readlink -f "$library")")" | head -n 1 | cut -d: -f1); \
      mkdir -p "/loaded/share/doc/$package"; \
      cp -L "/usr/share/doc/$package/copyright" "/loaded/share/doc/$package/"; \
    done

FROM debian:bookworm-slim
COPY --from=build /loaded/ /usr/local/
COPY --from=build /src/build/boltrose /usr/local/bin/boltrose
COPY LICENSE /usr/local/share/doc/boltrose/LICENSE
RUN ldconfig && useradd --create-home boltrose
USER boltrose
WORKDIR /work
ENTRYPOINT ["boltrose"]
