"""The tools as a Model Context Protocol server on standard input and output (SDK: ``mcp``)."""

import logging
from collections.abc import Mapping
from functools import partial

import anyio
from mcp.server import Server, ServerRequestContext
from mcp.server.stdio import stdio_server
from mcp.shared.exceptions import MCPError
from mcp_types import (
    INVALID_PARAMS,
    CallToolRequestParams,
    CallToolResult,
    ListToolsResult,
    PaginatedRequestParams,
    TextContent,
    ToolAnnotations,
)
from mcp_types import Tool as ListedTool

from api import strict_json
from api.answers import problems
from api.assistants.tools import SAFETY, Told, Tool, tools
from api.logs import fault
from api.strict_json import Json
from api.version import version
from engine import Diagnoser
from engine.knowledge.faults import unknown

_log = logging.getLogger("threewire.assistants")
_Context = ServerRequestContext[Mapping[str, object]]


def tool_server(engine: Diagnoser) -> Server[Mapping[str, object]]:
    """Return the protocol's server; a tool is called in a thread, so that pings are answered."""
    known = {one.name: one for one in tools(engine.knowledge)}
    turn = anyio.CapacityLimiter(1)  # a thread's rule engines are made once

    async def listed(_: _Context, __: PaginatedRequestParams | None) -> ListToolsResult:
        only_reads = ToolAnnotations(read_only_hint=True, open_world_hint=False)
        return ListToolsResult(tools=[
            ListedTool(
                name=one.name, description=one.about, input_schema=dict(one.takes),
                annotations=only_reads,
            )
            for one in known.values()
        ])  # fmt: skip

    async def call(_: _Context, sent: CallToolRequestParams) -> CallToolResult:
        tool = known.get(sent.name)
        if tool is None:
            raise MCPError(INVALID_PARAMS, unknown("tool", sent.name, known))
        work = partial(called, engine, tool, sent.arguments or {})
        told = await anyio.to_thread.run_sync(work, limiter=turn)
        text = TextContent(type="text", text=strict_json.dumps(told.document))
        return CallToolResult(content=[text], is_error=told.bad)

    return Server(
        "threewire", version=version(), instructions=SAFETY, on_list_tools=listed,
        on_call_tool=call,
    )  # fmt: skip


def called(engine: Diagnoser, tool: Tool, arguments: Json) -> Told:
    """Return what a tool answers; where threewire itself fails, its problem document."""
    try:
        return tool.call(engine, arguments)
    except Exception as error:
        _log.error("%s", fault(error))
        return Told(problems.document(500), bad=True)


def serve(engine: Diagnoser) -> None:
    """Answer on standard input and output until the input ends."""

    async def run() -> None:
        server = tool_server(engine)
        async with stdio_server() as (heard, said):
            await server.run(heard, said, server.create_initialization_options())

    anyio.run(run)
