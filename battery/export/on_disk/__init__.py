"""The files of an export: tables, copies as CSV, descriptor, signature."""

import pyarrow as pa

# Arrow's own allocator keeps 20 to 80 MB more than it uses, and is no faster here.
pa.set_memory_pool(pa.system_memory_pool())
