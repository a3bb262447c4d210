#!/usr/bin/env bash
# Opens the HTML report of a class in Chromium, checks that nothing in it is run or fetched, and takes
# pictures at two widths and a print, to be looked at.
#
#     tests/reference/scripts/look_at_report.sh PROGRAM CLASS.db FOLDER
#
# Needs Debian's packages chromium and poppler-utils. FOLDER gets report.html, narrow.png (400 px), wide.png
# (1100 px), print.pdf and its pages as print-N.png.
set -euo pipefail
program=$1 store=$2 folder=$3
mkdir -p "$folder"
"$program" class report --class-store "$store" --html "$folder/report.html"

# Chromium's own profile lies in the folder and goes with it.
browser() {
    chromium --headless --no-sandbox --disable-gpu --hide-scrollbars \
        --user-data-dir="$folder/profile" "$@" "file://$(realpath "$folder")/report.html" 2> "$folder/browser.log"
}
browser --window-size=1100,2400 --screenshot="$folder/wide.png"
# A window is never narrower than 500 px: the page is put into a frame of 400.
cat > "$folder/frame.html" <<FRAME
<!DOCTYPE html><body style="margin:0"><iframe src="report.html" style="width:400px;height:3000px;border:0"></iframe>
FRAME
chromium --headless --no-sandbox --disable-gpu --hide-scrollbars --user-data-dir="$folder/profile" \
    --window-size=500,3000 --screenshot="$folder/narrow.png" "file://$(realpath "$folder")/frame.html" 2>> "$folder/browser.log"
browser --no-pdf-header-footer --print-to-pdf="$folder/print.pdf"
pdftoppm -r 60 -png "$folder/print.pdf" "$folder/print"

# What the browser made of it: had a text become an element, or a script run, it would stand here.
browser --dump-dom > "$folder/dom.html"
if grep -qiE '<(script|img|iframe|link|object|form)\b| on[a-z]+=' "$folder/dom.html"; then
    echo "an element that no report has" >&2
    exit 1
fi
echo "nothing but a report; look at $folder"
