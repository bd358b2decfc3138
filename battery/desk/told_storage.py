"""Forms of what is said of the store, its copies and what goes out, see `told_errors`."""

from battery.desk.words import _

FORMS = (
    _(
        "cannot write to '{own}': {why}. Nothing was changed; make it writable or "
        "name another folder with --home"
    ),
    _("cannot write to '{own}': {why}. Nothing was changed"),
    _("no store in '{own}'; run 'battery enrol' or name another with --home"),
    _("no store at a {q} address; use a folder, or {own}"),
    _("PostgreSQL needs one more part: pip install {q}"),
    _("{own} is empty; run 'battery enrol' with the same --home first"),
    _("{own} is of an earlier version; run any command that writes first"),
    _("{own} cannot be read: {why}; it was not changed"),
    _("{own} is not a store of this program; it was not changed"),
    _("{own} is damaged: its list of migrations cannot be read; restore a copy"),
    _(
        "{own} has store version {n}; this program reads up to {n2}. Update the "
        "program; the store was not changed"
    ),
    _("another program is recording into {own}; end that visit first"),
    _("cannot record into '{own}': {why}"),
    _(
        "{own} is out of the store, but another program keeps its file busy, so "
        "parts may still lie in free pages; end the other program, then run {q} again"
    ),
    _("{own} would lie outside '{own2}'; nothing was written"),
    _("{own} are out of place"),
    _("no visit {q} in this store"),
    _("visit {own} cannot be read: {why}; others are not affected"),
    _("visit {own} cannot be read: {why}"),
    _(
        "visit {own} has record version {n}; this program reads up to {n2}. Update "
        "it; the store was not changed"
    ),
    _("{m} blocks of visit {own} cannot be read; 'battery verify' names them"),
    _("no finished block {q} in this store"),
    _(
        "block {own} is damaged: {why}. It is left out, other blocks are not "
        "affected; 'battery verify' looks through all, a backup may hold it whole"
    ),
    _("block {own} cannot be read: {why}; other blocks are not affected"),
    _("a stored block cannot be read ({why}); other blocks are not affected"),
    _("it claims {n} rows, more than {m}"),
    _("{own}: it cannot be read, and was left out: {why}"),
    _("{own}: it is left out: {why}"),
    _(
        "a block of {own} has rules that this program does not have; {own2}. The "
        "record is kept as it is"
    ),
    _(
        "stamps go backwards by {n} ms at sample {m}: this block cannot be scored; "
        "its samples are kept as they are"
    ),
    _("they unpack to more than {m} bytes"),
    _("it has {m} letters, more than {n}"),
    _("it is no {own}"),
    _("'{own}' is not a file; name one that was copied before. Nothing was changed"),
    _("cannot read '{own}': {why}"),
    _("'{own}' is there already; nothing was changed, name a new file"),
    _("cannot back up to '{own}': {why}. The store is unchanged"),
    _("the copy does not hold together ({why}); run 'battery verify'"),
    _("{n} people, {n2} visits, {n3} blocks: it can be restored"),
    _("{n} people, {n2} visits, {n3} blocks: it is damaged; make a new one"),
    _("{n} visits of the store are not in it"),
    _("visit {own}: {why}"),
    _("{own} visit {n} block {own2}: {why}"),
    _("store: {why}"),
    _("visits: {why}"),
    _("received: {why}"),
    _("tables: {why}"),
    _("it cannot be looked at: {why}"),
    _("its hash is {own}, stored was {own2}"),
    _("it has {n} samples, stored were {n2}"),
    _("{own} {n} comes before the one it follows, at {n2} ns"),
    _("it ended at {n} ns but has an event at {n2} ns"),
    _(
        "cannot export to '{own}': {why}. The store is unchanged, what is there is "
        "no whole export; free some space or name another folder, then export again"
    ),
    _(
        "cannot export to '{own}': {why}. The store is unchanged, an earlier export "
        "too; free some space or name another folder, then export again"
    ),
    _(
        "cannot export to '{own}': {why}. The store is unchanged; free some space or "
        "name another folder, then export again"
    ),
    _("'{own}' is a file; name a folder that is new, empty or an earlier export"),
    _(
        "'{own}' is neither empty nor an earlier export (it holds '{own2}'); nothing "
        "was changed, name another folder"
    ),
    _(
        "'{own}' is neither empty nor an earlier export; nothing was changed, name "
        "another folder"
    ),
    _("'{own}' is not empty; nothing was changed, name a new folder"),
    _("cannot make '{own}': {why}; nothing was written"),
    _("cannot write '{own}': {why}; the store was not changed"),
    _("cannot write '{own}': {why}; the page is in '{own2}'"),
    _(
        "no PDF of '{own}', as nothing here can make one: install "
        "'coordination-battery[pdf]', or a browser of the Chromium family, or open "
        "the page and print it"
    ),
    _("{own} withdrew consent; nothing was exported"),
    _(
        "{own} gave no consent to research use; nothing was exported. Keep it with "
        "{own2}, or say --without-consent with a reason, which will stand in the "
        "export"
    ),
    _("no task {q}; tasks are {own}. Nothing was exported"),
    _("no page as {q}: say {own}. Nothing was exported"),
    _("a chart has all tasks and days: tick no task and give no day"),
    _("no day is since {day} and until {day2}"),
    _("not in it: block {own}: {why}"),
    _("{own} of block {own2}: more than {m} rows"),
    _("{own} of block {own2} are not numbered from 0 on"),
    _("a row of {own} names no block"),
)
# Of a store or a file by its name; as they fit much, they come last.
ANY = (
    _("{own}: {why}; it was not changed; restore a copy, or name another folder with --home"),
    _("{own}: {why}; nothing was changed; make it writable or name another folder with --home"),
    _("{own}: {why}; this was not stored; look for free space. What was stored before is safe"),
    _("{own}: {why}; another program is writing; nothing was changed, try again"),
    _("{own}: {why}; nothing was changed"),
    "{path}: {why}",
    "{q}: {why}",
)
WHOLE = (
    _("nothing was exported"),
    _("its settings do not have the hash of its layout"),
    _("it is not what its tablet signed"),
    _("its record does not have the hash it had"),
    _("the store is on a server; back it up with the server's own pg_dump"),
    _("the store is on a server; set BATTERY_HOME to a folder for the secret keys"),
    _("they are not what was stored; 'battery rescore' makes them anew"),
    _("it goes too deep"),
    _(
        "a process that looked at blocks was ended from outside, as when memory ran "
        "out; nothing was changed. Close other programs, then verify again"
    ),
    _(
        "a process that wrote a part was ended from outside, as when memory ran out; "
        "the store is unchanged, an earlier export too. Close other programs, then "
        "export again"
    ),
    _("No space left on device"),
    _("Permission denied"),
    _("Operation not permitted"),
    _("Read-only file system"),
    _("No such file or directory"),
    _("Not a directory"),
    _("Is a directory"),
    _("File exists"),
    _("File name too long"),
    _("Input/output error"),
    _("Disk quota exceeded"),
    _("it does not read back as it was written"),
    _("database is locked"),
    _("database or disk is full"),
    _("attempt to write a readonly database"),
    _("file is not a database"),
    _("database disk image is malformed"),
    _("disk I/O error"),
    _("unable to open database file"),
)
