package desk

import (
	"context"
	"slices"
	"sync"
)

// queue lets one in at a time, in the order in which they came: pictures are
// large, and finding what is in one takes all processors anyway.
type queue struct {
	mu      sync.Mutex
	busy    bool
	waiting []*ticket
}

type ticket struct {
	turn  chan struct{}
	moved func(ahead int) // told how many are still before it
}

// enter waits for its turn; leave must follow, unless there is an error. moved
// is called when the turn has come nearer, with the number of those before.
func (q *queue) enter(ctx context.Context, moved func(ahead int)) error {
	q.mu.Lock()
	if !q.busy {
		q.busy = true
		q.mu.Unlock()
		return nil
	}
	t := &ticket{make(chan struct{}), moved}
	q.waiting = append(q.waiting, t)
	q.tell()
	q.mu.Unlock()
	select {
	case <-t.turn:
		return nil
	case <-ctx.Done():
	}
	q.mu.Lock()
	at := slices.Index(q.waiting, t)
	if at >= 0 {
		q.waiting = slices.Delete(q.waiting, at, at+1)
		q.tell()
	}
	q.mu.Unlock()
	if at < 0 { // the turn came meanwhile
		q.leave()
	}
	return ctx.Err()
}

func (q *queue) leave() {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.waiting) == 0 {
		q.busy = false
		return
	}
	close(q.waiting[0].turn)
	q.waiting = q.waiting[1:]
	q.tell()
}

func (q *queue) tell() {
	for i, t := range q.waiting {
		if t.moved != nil {
			t.moved(i + 1)
		}
	}
}
