// Millrace, written by hand for the speed benchmark of encode/rehearse: as few
// wires as the machine can do with, so that Verilator is at its best. It is no
// reference for what is right.
module millrace(input clk, output reg halted, output [7:0] acc_out, output [7:0] pc_out, output [3:0] phase_out);
  // The bits of a word are the lines in declared order; rom is addressed by
  // phase - 1, opcode, zero and carry from bit 0 up.
  reg [31:0] rom[0:16383];
  reg [7:0] ram[0:255];
  reg [7:0] acc, tmp, res, arg, pc, nxt, lnk, ir, sw, brd;
  reg zero, carry;
  reg [3:0] phase;
  assign acc_out = acc, pc_out = pc, phase_out = phase;
  initial begin
    $readmemh("store.memh", rom);
    $readmemh("ram.memh", ram);
    acc=0; tmp=0; res=0; arg=0; pc=0; nxt=0; lnk=0; ir=0; sw=0; brd=0; zero=0; carry=0; phase=0; halted=0;
  end
  wire [31:0] w = rom[{carry, zero, ir, phase}];
  wire acc_g=w[0], acc_l=w[1], tmp_g=w[2], tmp_l=w[3], res_l=w[4], res_g=w[5], logic_s=w[6], alt=w[7],
       shr_l=w[8], out_l=w[9], arg_g=w[10], arg_l=w[11], ram_g=w[12], ram_l=w[13], pc_g=w[14], pc_l=w[15],
       pc_n=w[16], lnk_l=w[17], lnk_g=w[18], nxt_l=w[19], ir_l=w[20], sw_g=w[21], brd_l=w[22], rst=w[24], hlt=w[25];
  wire [7:0] addr = ({8{arg_g}} & arg) | ({8{pc_g}} & pc) | ({8{lnk_g}} & lnk);
  wire [7:0] data = ({8{acc_g}} & acc) | ({8{tmp_g}} & tmp) | ({8{res_g}} & res) | ({8{sw_g}} & sw) | ({8{ram_g}} & ram[addr]);
  wire [7:0] inc = addr + 8'd1;
  wire [8:0] sum = {1'b0, acc} + {1'b0, tmp};
  wire [8:0] dif = {1'b0, acc} - {1'b0, tmp};
  wire [8:0] alu = logic_s ? (alt ? {1'b0, acc ^ tmp} : {1'b0, acc & tmp}) : (alt ? dif : sum);
  always @(posedge clk) if (!halted) begin
    if (hlt) halted <= 1;
    else begin
      if (acc_l) acc <= data;
      if (tmp_l) tmp <= data;
      if (res_l) begin res <= alu[7:0]; zero <= alu[7:0] == 0; carry <= alu[8]; end
      if (shr_l) res <= {carry, acc[7:1]};
      if (out_l) carry <= acc[0];
      if (arg_l) arg <= data;
      if (ram_l) ram[addr] <= data;
      if (pc_l) pc <= addr;
      if (pc_n) pc <= nxt;
      if (lnk_l) lnk <= nxt;
      if (nxt_l) nxt <= inc;
      if (ir_l) ir <= data;
      if (brd_l) brd <= data;
      phase <= (rst || phase == 4'd11) ? 4'd0 : phase + 4'd1;
    end
  end
endmodule
