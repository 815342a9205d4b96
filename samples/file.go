package samples

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"math"
)

// WritePNG writes the picture with its resolution (pHYs, PNG specification
// 11.3.5.3). A dpi of zero leaves it out.
func WritePNG(w io.Writer, img image.Image, dpiX, dpiY float64) error {
	var buf bytes.Buffer
	if err := png.Encode(&buf, img); err != nil {
		return err
	}
	data := buf.Bytes()
	// Signature and IHDR: 8 + 4+4+13+4 bytes. pHYs must follow before IDAT.
	const header = 33
	if len(data) < header {
		return errors.New("samples: the PNG encoder wrote no header")
	}
	if _, err := w.Write(data[:header]); err != nil {
		return err
	}
	if dpiX > 0 && dpiY > 0 {
		chunk := binary.BigEndian.AppendUint32(nil, 9)
		chunk = append(chunk, "pHYs"...)
		chunk = binary.BigEndian.AppendUint32(chunk, uint32(math.Round(dpiX/0.0254)))
		chunk = binary.BigEndian.AppendUint32(chunk, uint32(math.Round(dpiY/0.0254)))
		chunk = append(chunk, 1) // per metre
		chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
		if _, err := w.Write(chunk); err != nil {
			return err
		}
	}
	_, err := w.Write(data[header:])
	return err
}

// WriteJPEG writes the picture with its resolution (JFIF 1.02, APP0). A dpi
// of zero writes pixels without a unit, as programs do that know no better.
func WriteJPEG(w io.Writer, img image.Image, dpiX, dpiY float64, quality int) error {
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: quality}); err != nil {
		return err
	}
	data := buf.Bytes()
	app0 := append([]byte{0xff, 0xe0, 0, 16}, "JFIF\x00\x01\x02"...)
	if dpiX > 0 && dpiY > 0 {
		app0 = append(app0, 1) // per inch
		app0 = binary.BigEndian.AppendUint16(app0, uint16(math.Round(dpiX)))
		app0 = binary.BigEndian.AppendUint16(app0, uint16(math.Round(dpiY)))
	} else {
		app0 = append(app0, 0, 0, 1, 0, 1)
	}
	app0 = append(app0, 0, 0) // no thumbnail
	for _, part := range [][]byte{data[:2], app0, data[2:]} {
		if _, err := w.Write(part); err != nil {
			return err
		}
	}
	return nil
}
