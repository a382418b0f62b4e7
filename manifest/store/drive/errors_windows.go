package drive

import "golang.org/x/sys/windows"

func init() {
	full = append(full, windows.ERROR_DISK_FULL, windows.ERROR_HANDLE_DISK_FULL)
	readOnly = append(readOnly, windows.ERROR_WRITE_PROTECT)
	tooLarge = append(tooLarge, windows.ERROR_FILE_TOO_LARGE)
	away = append(away, windows.ERROR_NOT_READY, windows.ERROR_DEVICE_NOT_CONNECTED, windows.ERROR_NO_SUCH_DEVICE)
}
