package vision

import (
	"os"
	"path/filepath"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/experimental"
)

// maxSandbox is the most memory that a decoder in a sandbox gets, in pages of
// 64 KiB: 3 GiB, for 400 megapixels of colour.
const maxSandbox = 3 << 30 >> 16

// sandbox is how the decoders compiled to WebAssembly run: without files,
// network or clock, in bounded memory, and until they are stopped. Compiling
// them takes seconds (PDF) and is done when the first such file is read; the
// result is kept in the user's cache folder.
func sandbox() wazero.RuntimeConfig {
	c := wazero.NewRuntimeConfig().
		WithCoreFeatures(api.CoreFeaturesV2 | experimental.CoreFeaturesExceptionHandling).
		WithCloseOnContextDone(true).
		WithMemoryLimitPages(maxSandbox)
	folder, err := os.UserCacheDir()
	if err != nil {
		return c
	}
	if cache, err := wazero.NewCompilationCacheWithDir(filepath.Join(folder, "boltrose")); err == nil {
		c = c.WithCompilationCache(cache)
	}
	return c
}
