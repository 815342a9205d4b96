package openscad

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// mesh is an STL's triangles, read and measured without openscad.
type mesh [][3]r3.Vec

// readSTL reads an ASCII STL file.
func readSTL(t *testing.T, r io.Reader) mesh {
	t.Helper()
	var m mesh
	var corners []r3.Vec
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		var v r3.Vec
		if n, _ := fmt.Sscanf(lines.Text(), " vertex %g %g %g", &v.X, &v.Y, &v.Z); n != 3 {
			continue
		}
		if corners = append(corners, v); len(corners) == 3 {
			m = append(m, [3]r3.Vec(corners))
			corners = nil
		}
	}
	if err := lines.Err(); err != nil || len(m) == 0 {
		t.Fatalf("%d triangles, %v", len(m), err)
	}
	return m
}

// volume is the sum of the tetrahedra under each triangle (divergence theorem).
func (m mesh) volume() float64 {
	v := 0.0
	for _, f := range m {
		v += r3.Dot(f[0], r3.Cross(f[1], f[2])) / 6
	}
	return v
}

// leaks counts edges that are not run through once in either direction: none
// in a closed surface.
func (m mesh) leaks() int {
	type edge [2]r3.Vec
	through := map[edge]int{}
	for _, f := range m {
		for i := range 3 {
			a, b := f[i], f[(i+1)%3]
			through[edge{a, b}]++
			through[edge{b, a}]--
		}
	}
	leaks := 0
	for _, n := range through {
		if n != 0 {
			leaks++
		}
	}
	return leaks
}

// bodies counts the pieces that hang together by shared corners.
func (m mesh) bodies() int {
	parent := map[r3.Vec]r3.Vec{}
	var root func(v r3.Vec) r3.Vec
	root = func(v r3.Vec) r3.Vec {
		p, ok := parent[v]
		if !ok || p == v {
			parent[v] = v
			return v
		}
		p = root(p)
		parent[v] = p
		return p
	}
	for _, f := range m {
		for _, v := range f[1:] {
			parent[root(v)] = root(f[0])
		}
	}
	n := 0
	for v := range parent {
		if root(v) == v {
			n++
		}
	}
	return n
}

// hits are the distances at which a ray meets the surface (Möller and
// Trumbore, "Fast, minimum storage ray/triangle intersection", 1997).
func (m mesh) hits(from, along r3.Vec) []float64 {
	var out []float64
	for _, f := range m {
		e1, e2 := r3.Sub(f[1], f[0]), r3.Sub(f[2], f[0])
		p := r3.Cross(along, e2)
		det := r3.Dot(e1, p)
		if math.Abs(det) < 1e-14 {
			continue
		}
		s := r3.Sub(from, f[0])
		u := r3.Dot(s, p) / det
		q := r3.Cross(s, e1)
		v := r3.Dot(along, q) / det
		if t := r3.Dot(e2, q) / det; u >= 0 && v >= 0 && u+v <= 1 && t > 0 {
			out = append(out, t)
		}
	}
	return out
}

// first is the distance to the surface, infinite where there is none.
func (m mesh) first(from, along r3.Vec) float64 {
	least := math.Inf(1)
	for _, t := range m.hits(from, along) {
		least = math.Min(least, t)
	}
	return least
}

// A cube of 2 mm, to know that the tools measure.
func TestMeshTools(t *testing.T) {
	var m mesh
	square := func(o, u, v r3.Vec) {
		m = append(m, [3]r3.Vec{o, r3.Add(o, u), r3.Add(r3.Add(o, u), v)}, [3]r3.Vec{o, r3.Add(r3.Add(o, u), v), r3.Add(o, v)})
	}
	x, y, z, far := r3.Vec{X: 2}, r3.Vec{Y: 2}, r3.Vec{Z: 2}, r3.Vec{X: 2, Y: 2, Z: 2}
	minus := func(v r3.Vec) r3.Vec { return r3.Scale(-1, v) }
	for _, s := range [][2]r3.Vec{{y, x}, {z, y}, {x, z}} {
		square(r3.Vec{}, s[0], s[1])
		square(far, minus(s[1]), minus(s[0]))
	}
	if v := m.volume(); math.Abs(v-8) > 1e-12 || m.leaks() != 0 || m.bodies() != 1 {
		t.Errorf("volume %g, %d leaks, %d bodies", v, m.leaks(), m.bodies())
	}
	if d := m.first(r3.Vec{X: 0.7, Y: 0.4, Z: 0.5}, r3.Vec{X: 1}); math.Abs(d-1.3) > 1e-12 {
		t.Errorf("the wall is %g away", d)
	}
	if open := m[1:]; open.leaks() == 0 {
		t.Error("a hole is not seen")
	}
	shifted := append(mesh{}, m...)
	for _, f := range m {
		for i := range f {
			f[i].X += 5
		}
		shifted = append(shifted, f)
	}
	if n := shifted.bodies(); n != 2 {
		t.Errorf("%d bodies", n)
	}
}
