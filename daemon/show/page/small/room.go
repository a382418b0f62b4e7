package small

import (
	"context"
	_ "unsafe" // for go:linkname

	"github.com/gen2brain/heic"
	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/experimental"
)

// A HEIC decoder's memory is one piece that grows. Made anew and copied at each
// growth, as the runtime does by itself, it is there twice for a while, and what was
// left behind waits for the garbage collector: half a gigabyte for a telephone's
// picture. Here it grows in its place, up to mostRoom.

// mostRoom bounds the decoder's memory. A picture that wants more does not decode.
const mostRoom = 640 << 20

// heicRuntime is what the decoder's package runs its module in.
//
//go:linkname heicRuntime github.com/gen2brain/heic.rt
var heicRuntime wazero.Runtime

// growInPlace has the decoder's memory grow in place, where the system can.
func growInPlace() {
	heic.Init()
	if all, err := reserve(mostRoom); err == nil {
		heicRuntime = roomy{heicRuntime, all}
	}
}

type roomy struct {
	wazero.Runtime
	all []byte
}

func (r roomy) InstantiateModule(ctx context.Context, m wazero.CompiledModule, c wazero.ModuleConfig) (api.Module, error) {
	give := experimental.MemoryAllocatorFunc(func(uint64, uint64) experimental.LinearMemory { return room(r.all) })
	return r.Runtime.InstantiateModule(experimental.WithMemoryAllocator(ctx, give), m, c)
}

// room is a module's memory.
type room []byte

func (r room) Reallocate(size uint64) []byte {
	if size > uint64(len(r)) {
		return nil
	}
	return r[:size]
}

// Free does nothing: the picture is still in there, and the process ends soon.
func (room) Free() {}
