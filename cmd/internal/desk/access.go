package desk

import (
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"math/big"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"
)

// keyHeader carries the key of the run. A page of another origin cannot send
// it: a header of one's own needs a leave that is never given.
const keyHeader = "Boltrose-Key"

// access says who is served. The key is made anew for each run and stands
// behind the # of the address, which no browser sends. Who opens the page
// without it types a code that the terminal shows, good for once.
type access struct {
	key string

	mu    sync.Mutex
	code  string // "": codes are not taken
	show  func(code string)
	wrong int       // tries of this code
	last  time.Time // of the last wrong one
}

const (
	mostTries = 5 // of one code
	codeDigit = 8
	tryEvery  = time.Second // after a wrong one
)

func newAccess(codes bool, show func(string)) *access {
	a := &access{key: rand.Text(), show: show}
	if codes {
		a.newCode()
	}
	return a
}

func (a *access) newCode() {
	n, err := rand.Int(rand.Reader, big.NewInt(100_000_000))
	if err != nil {
		panic(err) // crypto/rand never fails
	}
	a.code, a.wrong = fmt.Sprintf("%0*d", codeDigit, n), 0
	if a.show != nil {
		a.show(a.code[:4] + " " + a.code[4:])
	}
}

// enter gives the key for the code. A code is good once, and for few tries.
func (a *access) enter(typed string, now time.Time) (key string, status int, refusal string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	switch {
	case a.code == "":
		return "", http.StatusForbidden, "this desk takes no code: open the address that the terminal shows"
	case now.Sub(a.last) < tryEvery:
		return "", http.StatusTooManyRequests, "one try a second: type the code once more"
	}
	typed = strings.Join(strings.Fields(typed), "")
	if subtle.ConstantTimeCompare([]byte(typed), []byte(a.code)) == 1 {
		a.newCode()
		return a.key, http.StatusOK, ""
	}
	a.last = now
	if a.wrong++; a.wrong >= mostTries {
		a.newCode()
		return "", http.StatusForbidden, "that was wrong too often: the terminal shows a new code"
	}
	return "", http.StatusForbidden, "that is not the code that the terminal shows"
}

func (a *access) holds(r *http.Request) bool {
	return subtle.ConstantTimeCompare([]byte(r.Header.Get(keyHeader)), []byte(a.key)) == 1
}

// policy lets the page load nothing but its own files and the pictures that
// it made itself.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guarded refuses what does not come from the desk's own page.
func (d *Desk) guarded(next http.Handler) http.Handler {
	crossOrigin := http.NewCrossOriginProtection()
	next = crossOrigin.Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		api := strings.HasPrefix(r.URL.Path, "/api/")
		switch {
		case !ownHost(r.Host):
			// A name may be made to point at this machine by whoever owns it;
			// an address may not.
			refuse(w, http.StatusMisdirectedRequest, "open the desk by the address that the terminal shows")
		case foreign(r):
			refuse(w, http.StatusForbidden, "another site's page may not use the desk")
		case api && r.URL.Path != "/api/enter" && !d.access.holds(r):
			refuse(w, http.StatusUnauthorized, "open the desk by the address that the terminal shows, or type its code")
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// ownHost says whether the host is this machine by an address, or by the name
// that every machine has for itself.
func ownHost(host string) bool {
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		name = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	}
	return name == "localhost" || net.ParseIP(name) != nil
}

// foreign says whether another site's page sent the request. Following a link
// to the page itself is no harm.
func foreign(r *http.Request) bool {
	if origin := r.Header.Get("Origin"); origin != "" && origin != "http://"+r.Host {
		return true
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return false
	}
	return r.Method != http.MethodGet || r.URL.Path != "/" || r.Header.Get("Sec-Fetch-Mode") != "navigate"
}
