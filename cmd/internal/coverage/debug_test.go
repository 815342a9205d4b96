package main

import (
	"fmt"
	"math"
	"testing"
	"boltrose/cmd/internal/read"
	"gonum.org/v1/gonum/spatial/r2"
)

func TestDebug(t *testing.T) {
	for _, dpi := range []float64{150} {
	var hz, bz, hs, bs, hr, br float64
	var hn, bn float64
	var own, tog float64
	var fz, fs [5]float64
	for i := range 90 {
		j := job{kind: kinds[i%len(kinds)], seed: uint64(3000 + i)}
		rng := j.random()
		r := onScanner(rubbedFace(j, rng), rng, dpi, 1)[0]
		_, tr := r.Render()
		s := scan(r)
		res, err := read.Picture(s.pic, "x", read.Options{ScaleU: -1})
		if err != nil { continue }
		k := 25.4 / dpi
		for _, idx := range res.Choice.Holes {
			g := res.Rings[idx]
			for _, h := range tr.Holes {
				d := r2.Scale(k, r2.Sub(g.CentrePx, h.CentrePx))
				if r2.Norm(d) < h.Diameter/4 {
					hz += r2.Norm2(d) / (g.CentreCov[0][0] + g.CentreCov[1][1])
					hs += g.CentreCov[0][0] + g.CentreCov[1][1]
					hr += r2.Norm2(d)
					hn++
				}
			}
		}
		if b := res.Choice.Bore; b >= 0 && tr.Bore != nil {
			g := res.Rings[b]
			d := r2.Scale(k, r2.Sub(g.CentrePx, tr.Bore.CentrePx))
			z := r2.Norm2(d) / (g.CentreCov[0][0] + g.CentreCov[1][1])
			c, _ := res.Plane.Measure(res.Marks[b])
			o2 := c.Sigma * c.Sigma * (c.Cofactor[0][0] + c.Cofactor[1][1])
			fmt.Printf("bore d %.1f edge %d rim %.2f err %.4f stated %.4f own %.4f scatter %.4f\n", g.Diameter, len(res.Marks[b].Edge), g.RimSeen, r2.Norm(d), math.Sqrt(g.CentreCov[0][0]+g.CentreCov[1][1]), math.Sqrt(o2), g.Scatter)
			pool := 0.0
			for _, idx := range res.Choice.Holes {
				h, _ := res.Plane.Measure(res.Marks[idx])
				pool += h.Sigma * h.Sigma / float64(len(res.Choice.Holes))
			}
			pool *= (c.Cofactor[0][0] + c.Cofactor[1][1])
			for q, v := range []float64{o2, (o2 + 2*pool) / 3, math.Max(o2, pool), pool, math.Sqrt(o2 * pool)} {
				fz[q] += r2.Norm2(d) / v
				fs[q] += v
			}
			bz += z; bs += g.CentreCov[0][0] + g.CentreCov[1][1]; br += r2.Norm2(d)
			bn++
			own += r2.Norm2(d) / o2
			_ = tog
		}
	}
	for q := range fz {
		fmt.Printf("formula %d: z2 %.2f rms stated %.4f\n", q, fz[q]/bn, math.Sqrt(fs[q]/bn))
	}
	fmt.Printf("dpi %g holes: z2 %.2f (rms %.4f stated %.4f) of %.0f; bore z2 %.2f by own %.2f (rms %.4f stated %.4f) of %.0f\n", dpi, hz/hn, math.Sqrt(hr/hn), math.Sqrt(hs/hn), hn, bz/bn, own/bn, math.Sqrt(br/bn), math.Sqrt(bs/bn), bn)
	}
}
