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


class ToolServer:
    """Lists the tools and calls them, one call at a time, in a thread: pings are answered."""

    def __init__(self, engine: Diagnoser) -> None:
        self._engine = engine
        self._tools = {one.name: one for one in tools(engine.knowledge)}
        self._turn = anyio.CapacityLimiter(1)  # a thread's rule engines are made once

    def server(self) -> Server[Mapping[str, object]]:
        """Return the protocol's server."""
        return Server(
            "threewire", version=version(), instructions=SAFETY,
            on_list_tools=self._list, on_call_tool=self._call,
        )  # fmt: skip

    async def _list(self, _: _Context, __: PaginatedRequestParams | None) -> ListToolsResult:
        only_reads = ToolAnnotations(read_only_hint=True, open_world_hint=False)
        return ListToolsResult(tools=[
            ListedTool(
                name=one.name, description=one.about, input_schema=dict(one.takes),
                annotations=only_reads,
            )
            for one in self._tools.values()
        ])  # fmt: skip

    async def _call(self, _: _Context, sent: CallToolRequestParams) -> CallToolResult:
        tool = self._tools.get(sent.name)
        if tool is None:
            raise MCPError(INVALID_PARAMS, unknown("tool", sent.name, self._tools))
        call = partial(called, self._engine, tool, sent.arguments or {})
        told = await anyio.to_thread.run_sync(call, limiter=self._turn)
        text = TextContent(type="text", text=strict_json.dumps(told.document))
        return CallToolResult(content=[text], is_error=told.bad)


def called(engine: Diagnoser, tool: Tool, arguments: Json) -> Told:
    """Return what a tool answers; where threewire itself fails, its problem document."""
    try:
        return tool.call(engine, arguments)
    except Exception as error:
        _log.error("%s", fault(error))
        return Told(problems.document(500), bad=True)


async def _serve(engine: Diagnoser) -> None:
    server = ToolServer(engine).server()
    async with stdio_server() as (heard, said):
        await server.run(heard, said, server.create_initialization_options())


def serve(engine: Diagnoser) -> None:
    """Answer on standard input and output until the input ends."""
    anyio.run(_serve, engine)
