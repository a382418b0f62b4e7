#!/bin/sh
# Rebuilds the newest state of every site from one copy, and checks every byte.
# It needs a POSIX shell, sed, and what Linux calls coreutils; nothing else.
#
#   sh recover.sh COPY FOLDER
#
# COPY is the folder that holds this copy's README.txt. A file that is in FOLDER
# already is never written over. Names that were no text (no valid UTF-8) come
# back in the spelling that inventory.json has for them. The status is 0 only
# where every file came back.
[ $# -eq 2 ] && [ -n "$2" ] || { echo "it is run as: sh recover.sh COPY FOLDER"; exit 2; }
command -v sha256sum >/dev/null || sha256sum() { shasum -a 256 "$@"; } # as on macOS
copy=$1 folder=$2
[ -f "$copy/0=ocfl_1.1" ] || { echo "$copy holds no copy: there is no file 0=ocfl_1.1 in it"; exit 2; }
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
good=0 bad=0
tab=$(printf '\t')

# names: JSON texts, one list a line, to one text a line, in the form printf %b
# reads. \001 stands for a backslash and \002 for a quotation mark meanwhile.
one=$(printf '\001') two=$(printf '\002')
escapes="s/$one/\\\\\\\\/g;s/$two/\"/g"
i=1
while [ $i -lt 32 ]; do
	escapes="s/\\\\u$(printf %04x $i)/\\\\0$(printf %03o $i)/g;$escapes"
	i=$((i + 1))
done

fail() { printf '%s\n' "$1"; bad=$((bad + 1)); }

# A site can go on in a further object, when the seal closes its first one: that
# one comes last, with the versions before, and gives what the other has no file for.
sed -n 's/^[0-9]* [^ ]* closed [^ ]*:\([a-z0-9-]*\) v\([0-9]*\) .*/\1 \2/p' \
	"$copy"/extensions/linecamp-seal/log/*.txt 2>/dev/null >"$work/closed"

for turn in '' closed; do for object in "$copy"/*/; do
	object=${object%/}
	[ -f "$object/v1/inventory.json" ] || continue
	until=$(sed -n "s/^${object##*/} //p" "$work/closed" | tail -n 1)
	[ "$turn" = "${until:+closed}" ] && [ "$until" != 1 ] || continue
	# The newest version whose own list is whole.
	n=0
	while [ $((n + 1)) != "$until" ] && (cd "$object/v$((n + 1))" 2>/dev/null && sha256sum -c inventory.json.sha256 >/dev/null 2>&1); do
		n=$((n + 1))
	done
	[ $n -gt 0 ] || { fail "$object: its list is damaged"; continue; }
	list=$object/v$n/inventory.json
	# "digest TAB where it lies", and "digest TAB what it is called".
	sed -n '/^  "manifest"/,/^  }/s/^    "\([0-9a-f]\{64\}\)": \["\([^"]*\)".*/\1'"$tab"'\2/p' "$list" | sort >"$work/content"
	sed -n '/^    "v'$n'": {/,/^    }/s/^        "\([0-9a-f]\{64\}\)": \[\(.*\)\],\{0,1\}$/\1 \2/p' "$list" |
		sed 's/\\\\/'"$one"'/g;s/\\"/'"$two"'/g' |
		while IFS= read -r line; do
			digest=${line%% *} rest=${line#* }
			printf '%s\n' "$rest" | sed 's/", "/"\
"/g' | sed 's/^"//;s/"$//;'"$escapes" | sed "s/^/$digest$tab/"
		done | sort >"$work/names"
	join -t "$tab" "$work/content" "$work/names" >"$work/files"
	# What the state names and the list of content does not have cannot be found.
	join -t "$tab" -v 2 "$work/content" "$work/names" >"$work/lost"
	while IFS= read -r line; do fail "$object: no content is listed for $line"; done <"$work/lost"
	# The folder that the paths begin from stands in the record.
	record=$(sed -n 's/^[0-9a-f]*'"$tab"'\(.*\)'"$tab"'\.linecamp\/record\.json$/\1/p' "$work/files")
	base=$(sed -n 's/^  "base": "\(.*\)",$/\1/p' "$object/$record" 2>/dev/null | sed 's/\\\\/'"$one"'/g;s/\\"/'"$two"'/g;'"$escapes")
	if [ ! -f "$object/$record" ]; then
		fail "$object: its record is gone, so its files are put into a folder of that name"
		base=${object##*/}
	fi
	while IFS=$tab read -r digest from name; do
		case $name in .linecamp/*) continue ;; esac
		to=$(printf '%bx' "${base:+$base/}$name") # the x keeps a line end at its end
		to=${to%x}
		case "/$to/" in */../* | */./* | *//*) fail "$object: the name $name leads out"; continue ;; esac
		to=$folder/$to
		if [ ! -e "$to" ]; then
			mkdir -p "${to%/*}" && cp "$object/$from" "$to.part" 2>/dev/null || { fail "not here: $to"; continue; }
			[ "$(sha256sum <"$to.part")" = "$digest  -" ] || { rm "$to.part"; fail "damaged: $to"; continue; }
			mv "$to.part" "$to"
		elif [ "$(sha256sum <"$to")" != "$digest  -" ]; then
			[ "$until" ] || fail "another file is there: $to"
			continue
		fi
		good=$((good + 1))
	done <"$work/files"
done; done
echo "$good files are in $folder, every byte checked; $bad faults"
[ $bad -eq 0 ]
