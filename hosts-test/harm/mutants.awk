# SPDX-License-Identifier: ISC
# The places of C files where a fault can be put in by text, one a line: FILE<TAB>LINE<TAB>WHAT<TAB>the line as it is
# <TAB>the line with the fault. Comments, strings and character constants are left alone, and so are preprocessor lines
# but constants that are #defined.

# The line with everything that is no code blanked out, so that columns stay.
function code(text,    out, i, c, two) {
    out = ""
    for (i = 1; i <= length(text); i++) {
        c = substr(text, i, 1)
        two = substr(text, i, 2)
        if (in_comment) {
            out = out (two == "*/" ? "  " : " ")
            if (two == "*/") {
                in_comment = 0
                i++
            }
        } else if (two == "/*") {
            in_comment = 1
            out = out "  "
            i++
        } else if (two == "//") {
            break
        } else if (c == "\"" || c == "'") {
            out = out " "
            for (i++; i <= length(text) && substr(text, i, 1) != c; i++) {
                if (substr(text, i, 1) == "\\") {
                    out = out " "
                    i++
                }
                out = out " "
            }
            out = out " "
        } else
            out = out c
    }
    return out
}

function put(what, at, old, new) {
    printf "%s\t%d\t%s\t%s\t%s\n", FILENAME, FNR, what, $0, substr($0, 1, at - 1) new substr($0, at + length(old))
}

# Every place of a text that has no `before` to its left and no `after` to its right.
function all(what, plain, old, new, before, after,    from, at, left, right) {
    for (from = 1; (at = index(substr(plain, from), old)) > 0; from = at + length(old)) {
        at += from - 1
        left = at > 1 ? substr(plain, at - 1, 1) : " "
        right = substr(plain, at + length(old), 1)
        if (left !~ before && right !~ after)
            put(what, at, old, new)
    }
}

function numbers(plain,    from, at, text, left, new) {
    for (from = 1; match(substr(plain, from), /[0-9]+(\.[0-9]*)?(e-?[0-9]+)?f?/); from = at + length(text)) {
        at = from + RSTART - 1
        text = substr(plain, at, RLENGTH)
        left = at > 1 ? substr(plain, at - 1, 1) : " "
        if (left ~ /[A-Za-z0-9_.]/ || substr(plain, at + length(text), 1) ~ /[A-Za-z0-9_]/)
            continue
        if (text ~ /\./) # half as much again: more than any tolerance
            new = text + 0 == 0 ? "0.5" (text ~ /f$/ ? "f" : "") : "(1.5" (text ~ /f$/ ? "f" : "") " * " text ")"
        else
            new = text "+1"
        put("number", at, text, text ~ /\./ ? new : "(" new ")")
    }
}

FNR == 1 { in_comment = 0 }
{
    plain = code($0)
    if (plain ~ /^#/ && plain !~ /^#define [A-Z_0-9]+ /)
        next
    if (plain ~ /_Static_assert|^#endif/)
        next
    numbers(plain)
    all("sign", plain, " + ", " - ", "#", "#")
    all("sign", plain, " - ", " + ", "#", "#")
    all("sign", plain, " += ", " -= ", "#", "#")
    all("product", plain, " * ", " / ", "#", "#")
    if (plain !~ /\?/) { # the larger of two equals is either
        all("bound", plain, " < ", " <= ", "#", "#")
        all("bound", plain, " > ", " >= ", "#", "#")
        all("bound", plain, " <= ", " < ", "#", "#")
        all("bound", plain, " >= ", " > ", "#", "#")
    }
    all("turned", plain, " < ", " > ", "#", "#")
    all("turned", plain, " > ", " < ", "#", "#")
    all("turned", plain, " == ", " != ", "#", "#")
    all("turned", plain, " != ", " == ", "#", "#")
    all("turned", plain, " && ", " || ", "#", "#")
    all("turned", plain, " || ", " && ", "#", "#")
    all("extreme", plain, "fmaxf(", "fminf(", "[A-Za-z_]", "#")
    all("extreme", plain, "fminf(", "fmaxf(", "[A-Za-z_]", "#")
    all("extreme", plain, "fmax(", "fmin(", "[A-Za-z_]", "#")
    all("extreme", plain, "fmin(", "fmax(", "[A-Za-z_]", "#")
    if (plain ~ /^ +[a-z_0-9]+\(.*\);$/)
        put("dropped", 1, $0, "    ;")
    if (plain ~ /^ +[a-z_0-9>.\[\]-]+ = [^{]*;$/ && plain !~ /^ +(const|float|double|size_t|int|bool)/)
        put("dropped", 1, $0, "    ;")
}
