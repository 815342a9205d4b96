package calib

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r2"
)

// A layout is one way of laying a frame's border on a grid of spots.
type layout struct {
	paper         Paper
	columns, rows int  // of the frame
	swap          bool // the grid's first axis runs along the frame's sides
	flipX, flipY  bool // the grid's axes run against the frame's
	agree         int  // spots of a dot's size on a dot
	differ        int  // spots of the other size
	score         float64
}

// inGrid returns which point of the grid a cell of the frame is.
func (l layout) inGrid(c cell) cell {
	if l.flipX {
		c.i = l.columns - 1 - c.i
	}
	if l.flipY {
		c.j = l.rows - 1 - c.j
	}
	if l.swap {
		c.i, c.j = c.j, c.i
	}
	return c
}

// mirrored tells whether the frame is seen as in a mirror.
func (l layout) mirrored(g *grid) bool {
	mirror := g.toPx.turns(r2.Vec{X: float64(l.columns) / 4, Y: float64(l.rows) / 4}) < 0
	for _, f := range []bool{l.swap, l.flipX, l.flipY} {
		if f {
			mirror = !mirror
		}
	}
	return mirror
}

// An edging says which dots of a frame are large, clockwise.
type edging struct {
	paper         Paper
	columns, rows int
	cells         []cell
	large         []bool
}

// edgings are those of all papers and sizes.
var edgings = sync.OnceValue(func() []edging {
	var out []edging
	for _, p := range papers {
		for columns := leastDots; columns <= mostDots(p.Width); columns++ {
			for rows := leastDots; rows <= mostDots(p.Height); rows++ {
				e := edging{p, columns, rows, ringCells(columns, rows), nil}
				for i := range e.cells {
					e.large = append(e.large, isLarge(p, columns, rows, i))
				}
				out = append(out, e)
			}
		}
	}
	return out
})

// Of the dots that a layout has, each whose spot has the right size speaks
// for it by one; what speaks against it:
const (
	wrongSize = 2.0
	noSpot    = 0.4 // hidden, or there is no dot
)

// decode finds the layout that the grid's spots speak most for. ok is false
// where none does clearly.
func (g *grid) decode() (best layout, ok bool) {
	var spot [mostAlong + 1][mostAlong + 1]int8 // 1 small, 2 large
	for c, large := range g.large {
		spot[c.i][c.j] = 1
		if large {
			spot[c.i][c.j] = 2
		}
	}
	second := math.Inf(-1)
	best.score = math.Inf(-1)
	for _, e := range edgings() {
		for k := range 8 {
			l := layout{paper: e.paper, columns: e.columns, rows: e.rows, swap: k&1 != 0, flipX: k&2 != 0, flipY: k&4 != 0}
			for i, c := range e.cells {
				c = l.inGrid(c)
				switch s := spot[c.i][c.j]; {
				case s == 0:
				case (s == 2) == e.large[i]:
					l.agree++
				default:
					l.differ++
				}
			}
			none := len(e.cells) - l.agree - l.differ
			l.score = float64(l.agree) - wrongSize*float64(l.differ) - noSpot*float64(none)
			if l.score > best.score {
				best, second = l, best.score
			} else if l.score > second {
				second = l.score
			}
		}
	}
	return best, best.agree >= leastFrame && best.differ <= best.agree/10 && best.score >= second+clearly &&
		(best.agree >= leastClear+perWrong*best.differ || best.agree >= leastHalf && 2*best.agree >= best.count()) && g.isOpen(best)
}

// A layout is clear when its score is so much above any other's, and when,
// should less than half of its dots be seen, they are so many, and more for
// each that is of the wrong size: there are thousands of layouts and places to
// lay them on a plate's holes, and a dot of the right size is a bit. leastPart
// are enough to suppose that there is a frame.
const (
	clearly    = 4.0
	leastHalf  = 16
	leastClear = 20
	leastPart  = 16
	perWrong   = 4
)

// count returns how many dots the frame has.
func (l layout) count() int { return 2*(l.columns+l.rows) - 4 }

// isOpen tells whether the border is one, and not part of a grid that is full
// of spots.
func (g *grid) isOpen(l layout) bool {
	return 2*(len(g.on)-l.agree-l.differ) < l.agree+mostBeside
}

// mostBeside is how many bolt holes and the like may lie on the grid by chance.
const mostBeside = 8
